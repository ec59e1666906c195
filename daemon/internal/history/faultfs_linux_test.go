//go:build amd64 || arm64 || riscv64

package history_test

import (
	"context"
	"fmt"
	"os"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
)

// card is a directory on a storage that can be made to fail.
type card struct {
	dir string // where it is mounted
	raw string // what lies behind it

	mu    sync.Mutex
	errno syscall.Errno // of every write
	left  int           // writes that still succeed before errno
	short bool          // the first that fails takes half
	stall time.Duration // of every sync
}

// newCard mounts one.
func newCard(t *testing.T) *card {
	t.Helper()
	if os.Getuid() != 0 {
		missing(t, "root, to mount,")
	}
	if _, err := os.Stat("/dev/fuse"); err != nil {
		missing(t, "/dev/fuse")
	}
	c := &card{dir: t.TempDir(), raw: t.TempDir()}
	root := &fs.LoopbackRoot{Path: c.raw}
	server, err := fs.Mount(c.dir, c.node(root), &fs.Options{MountOptions: fuse.MountOptions{DirectMountStrict: true, FsName: "card", Name: "card"}})
	if err != nil {
		missing(t, fmt.Sprintf("the mount (%v)", err))
	}
	t.Cleanup(func() {
		c.heal()
		if err := server.Unmount(); err != nil {
			// A file that is still open would keep this process, which is its own server, in
			// the kernel for ever: force ends the connection.
			_ = syscall.Unmount(c.dir, syscall.MNT_FORCE)
			_ = syscall.Unmount(c.dir, syscall.MNT_DETACH)
		}
	})
	return c
}

// missing leaves a test out for want of a real part, or fails it where those are demanded.
func missing(t *testing.T, part string) {
	t.Helper()
	if os.Getenv("FLUEWRIGHT_REAL") == "1" {
		t.Fatalf("%s is missing", part)
	}
	t.Skipf("%s is missing", part)
}

func (c *card) node(root *fs.LoopbackRoot) *cardNode {
	return &cardNode{LoopbackNode: fs.LoopbackNode{RootData: root}, card: c}
}

// fail makes every write but the next few fail.
func (c *card) fail(errno syscall.Errno, after int, short bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.errno, c.left, c.short = errno, after, short
}

// hang makes every sync last.
func (c *card) hang(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stall = d
}

func (c *card) heal() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.errno, c.short, c.stall = 0, false, 0
}

// write says how a write of n bytes goes: how many are taken, and the error.
func (c *card) write(n int) (int, syscall.Errno) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.errno == 0 {
		return n, 0
	}
	if c.left > 0 {
		c.left--
		return n, 0
	}
	if c.short {
		c.short = false
		return n / 2, 0
	}
	return 0, c.errno
}

func (c *card) sync() syscall.Errno {
	c.mu.Lock()
	stall, errno, left := c.stall, c.errno, c.left
	c.mu.Unlock()
	time.Sleep(stall)
	if left > 0 {
		return 0
	}
	return errno
}

type cardNode struct {
	fs.LoopbackNode
	card *card
}

type cardFile struct {
	fs.FileHandle
	card *card
}

// WrapChild makes files of the directory files of the card.
func (n *cardNode) WrapChild(context.Context, fs.InodeEmbedder) fs.InodeEmbedder {
	return n.card.node(n.RootData)
}

func (n *cardNode) Open(ctx context.Context, flags uint32) (fs.FileHandle, uint32, syscall.Errno) {
	if _, errno := n.card.write(0); errno == syscall.EROFS && flags&syscall.O_ACCMODE != syscall.O_RDONLY {
		return nil, 0, errno
	}
	f, fl, errno := n.LoopbackNode.Open(ctx, flags)
	return &cardFile{f, n.card}, fl | fuse.FOPEN_DIRECT_IO, errno
}

func (n *cardNode) Create(ctx context.Context, name string, flags, mode uint32, out *fuse.EntryOut) (*fs.Inode, fs.FileHandle, uint32, syscall.Errno) {
	if _, errno := n.card.write(0); errno != 0 {
		return nil, nil, 0, errno
	}
	i, f, fl, errno := n.LoopbackNode.Create(ctx, name, flags, mode, out)
	return i, &cardFile{f, n.card}, fl | fuse.FOPEN_DIRECT_IO, errno
}

func (n *cardNode) Setattr(ctx context.Context, f fs.FileHandle, in *fuse.SetAttrIn, out *fuse.AttrOut) syscall.Errno {
	if _, errno := n.card.write(0); errno != 0 {
		return errno
	}
	if c, ok := f.(*cardFile); ok {
		f = c.FileHandle
	}
	return n.LoopbackNode.Setattr(ctx, f, in, out)
}

func (f *cardFile) Read(ctx context.Context, dest []byte, off int64) (fuse.ReadResult, syscall.Errno) {
	return f.FileHandle.(fs.FileReader).Read(ctx, dest, off)
}

func (f *cardFile) Write(ctx context.Context, data []byte, off int64) (uint32, syscall.Errno) {
	n, errno := f.card.write(len(data))
	if errno != 0 {
		return 0, errno
	}
	return f.FileHandle.(fs.FileWriter).Write(ctx, data[:n], off)
}

func (f *cardFile) Fsync(ctx context.Context, flags uint32) syscall.Errno {
	if errno := f.card.sync(); errno != 0 {
		return errno
	}
	return f.FileHandle.(fs.FileFsyncer).Fsync(ctx, flags)
}

// Flush says that there is none: the kernel then never asks again. A process that ends with
// a file open on its own mount would wait for itself for ever.
func (f *cardFile) Flush(context.Context) syscall.Errno { return syscall.ENOSYS }

func (f *cardFile) Release(ctx context.Context) syscall.Errno {
	return f.FileHandle.(fs.FileReleaser).Release(ctx)
}

func (f *cardFile) Getattr(ctx context.Context, out *fuse.AttrOut) syscall.Errno {
	return f.FileHandle.(fs.FileGetattrer).Getattr(ctx, out)
}
