package boot_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// firstProgram is the first that runs in a machine: it loads what the disk needs and hands
// over to the system on it.
const firstProgram = `#!/bin/busybox sh
/bin/busybox mount -t devtmpfs dev /dev
/bin/busybox mount -t proc proc /proc
/bin/busybox mount -t sysfs sys /sys
for m in $(/bin/busybox cat /modules); do /bin/busybox insmod /$m; done
until [ -b /dev/vda ]; do /bin/busybox sleep 0.1; done
words=" $(/bin/busybox cat /proc/cmdline) "
how=rw
case "$words" in *" ro "*) how=ro ;; esac
/bin/busybox mount -t ext4 -o $how /dev/vda /root || exit 1
case "$words" in *" prepare "*)
	/bin/busybox mount --bind /dev /root/dev
	/bin/busybox mount -t proc proc /root/proc
	until [ -b /dev/vdb ]; do /bin/busybox sleep 0.1; done
	/bin/busybox tar -x -f /dev/vdb -C /root
	/bin/busybox chroot /root /bin/sh /tmp/prepare
	/bin/busybox rm -f /root/tmp/*
	/bin/busybox sync # a mount that a script left may keep the disk busy
	/bin/busybox umount /root/proc /root/dev /root
	/bin/busybox poweroff -f
	;;
esac
exec /bin/busybox switch_root /root /sbin/init
`

// writeInitrd makes the initial file system: a shell, and the modules of disk and lines.
func writeInitrd(t *testing.T, file, root, version string) {
	t.Helper()
	modules := filepath.Join(root, "lib/modules", version)
	needs := map[string][]string{}
	for line := range strings.Lines(string(slurp(t, filepath.Join(modules, "modules.dep")))) {
		module, rest, _ := strings.Cut(strings.TrimSpace(line), ":")
		needs[module] = strings.Fields(rest)
	}
	var b bytes.Buffer
	inode := 0
	entry := func(name string, mode, size int, body []byte) {
		inode++
		fmt.Fprintf(&b, "070701%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%s\x00",
			inode, mode, 0, 0, 1, 0, size, 0, 0, 0, 0, len(name)+1, 0, name)
		pad := func() {
			for b.Len()%4 != 0 {
				b.WriteByte(0)
			}
		}
		pad()
		b.Write(body)
		pad()
	}
	add := func(name string, body []byte) { entry(name, 0o100755, len(body), body) }
	for _, dir := range []string{"bin", "dev", "proc", "sys", "root"} {
		entry(dir, 0o040755, 0, nil)
	}
	var order []string
	packed := map[string]bool{}
	var load func(module string)
	load = func(module string) {
		for i := len(needs[module]) - 1; i >= 0; i-- {
			load(needs[module][i])
		}
		name := filepath.Base(module)
		if !packed[name] {
			packed[name] = true
			order = append(order, name)
			add(name, slurp(t, filepath.Join(modules, module)))
		}
	}
	for _, wanted := range []string{"virtio_pci", "virtio_blk", "ext4", "virtio_console", "virtio-rng"} {
		for module := range needs {
			if strings.TrimSuffix(filepath.Base(module), ".ko") == wanted {
				load(module)
			}
		}
	}
	add("modules", []byte(strings.Join(order, "\n")))
	// In a Debian that is not set up yet it is a package still.
	shell, err := exec.Command("sh", "-c", `dpkg-deb --fsys-tarfile "$0"/var/cache/apt/archives/busybox-static_*.deb | tar -xO ./bin/busybox`, root).Output()
	if err != nil {
		t.Fatal(err)
	}
	add("bin/busybox", shell)
	add("init", []byte(firstProgram))
	add("TRAILER!!!", nil)
	if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}
