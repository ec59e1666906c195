//go:build amd64 || arm64 || riscv64

package devfs

import (
	"context"
	"errors"
	"fmt"
	"syscall"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"

	"fluewright/sensors/bench"
)

// Mounted is a bench that is shown in a directory.
type Mounted struct {
	dir    string
	server *fuse.Server
}

// Mount shows the bench's buses in the existing directory dir and returns when they can
// be opened.
func Mount(dir string, b *bench.Bench) (*Mounted, error) {
	server, err := fs.Mount(dir, &root{bench: b}, &fs.Options{
		MountOptions: fuse.MountOptions{
			AllowOther:        true, // the daemon may run as a user of its own
			DirectMountStrict: true, // no setuid helper
			FsName:            "bench",
			Name:              "bench",
			DisableXAttrs:     true,
		},
	})
	if err != nil {
		return nil, fmt.Errorf("mount bench on %s: %w", dir, err)
	}
	return &Mounted{dir: dir, server: server}, nil
}

// Close unmounts. If a file is still open the mount is detached at once and ends with
// this process.
func (m *Mounted) Close() error {
	err := m.server.Unmount()
	if err == nil {
		return nil
	}
	if detach := syscall.Unmount(m.dir, syscall.MNT_DETACH); detach != nil {
		return fmt.Errorf("unmount bench from %s: %w", m.dir, errors.Join(err, detach))
	}
	return nil
}

// root is the directory.
type root struct {
	fs.Inode
	bench *bench.Bench
}

// OnAdd makes the device files.
func (r *root) OnAdd(ctx context.Context) {
	buses, selects := r.bench.Devices()
	for name, b := range buses {
		r.AddChild(name, r.NewPersistentInode(ctx, &i2cFile{bus: b}, fs.StableAttr{Mode: fuse.S_IFREG}), false)
	}
	for name, s := range selects {
		r.AddChild(name, r.NewPersistentInode(ctx, &spiFile{at: s}, fs.StableAttr{Mode: fuse.S_IFREG}), false)
	}
}

// device is what both kinds of file share: they can be opened and have the mode of a
// board's device files, and there is nothing in them to read.
type device struct{}

func (device) Open(context.Context, uint32) (fs.FileHandle, uint32, syscall.Errno) {
	return nil, fuse.FOPEN_DIRECT_IO, 0
}

func (device) Getattr(_ context.Context, _ fs.FileHandle, out *fuse.AttrOut) syscall.Errno {
	out.Mode = 0o660
	return 0
}

// errnoOf is the number that a failed transfer returns to the caller.
func errnoOf(err error) syscall.Errno {
	var errno syscall.Errno
	switch {
	case err == nil:
		return 0
	case errors.As(err, &errno):
		return errno
	}
	return syscall.EIO
}
