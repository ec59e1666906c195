package boot_test

import (
	"archive/tar"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"flag"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var (
	boots = flag.Bool("boot", false, "boot machines: needs root, debootstrap, the emulator and some minutes; with -short the quick half")
	arch  = flag.String("arch", "amd64", "processor of the machines: amd64 or arm64")
	cuts  = flag.Int("cuts", 20, "how often the power is cut; once with -short")
	kept  = flag.String("kept", "", "folder that keeps the bare Debian for the next run; the package is always made anew")
)

const (
	suite  = "bookworm"
	mirror = "http://deb.debian.org/debian"
	// included is what the machine has beside the bare Debian. The package brings the rest.
	included = "systemd,systemd-sysv,udev,kmod,dbus,mosquitto,mosquitto-clients,sqlite3,curl,busybox-static"
)

// kinds are the machines by their processor: the emulator, and where the kernel talks.
var kinds = map[string]struct {
	emulator []string
	console  string
}{
	"amd64": {[]string{"qemu-system-x86_64", "-cpu", "max"}, "ttyS0"},
	// The core of many a board; newer ones spend their time on signing pointers, emulated.
	"arm64": {[]string{"qemu-system-aarch64", "-M", "virt", "-cpu", "cortex-a53"}, "ttyAMA0"},
}

// installed is a disk with everything on it, and what boots it.
type installed struct{ image, kernel, initrd string }

// install makes the disk: a Debian with a broker, our package, and the virtual chips.
func install(t *testing.T) installed {
	t.Helper()
	if !*boots {
		t.Skip("boots machines for some minutes: only with -boot")
	}
	kind, known := kinds[*arch]
	if !known {
		t.Fatalf("no machine is made for %q", *arch)
	}
	for _, program := range []string{"debootstrap", kind.emulator[0], "qemu-img", "mkfs.ext4", "depmod"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Fatalf("%s is missing", program)
		}
	}
	begun := time.Now()
	bare := debian(t)
	t.Logf("a bare Debian after %v", time.Since(begun).Round(time.Second))
	begun = time.Now()
	i := bare
	i.image = filepath.Join(t.TempDir(), "image")
	must(t, exec.Command("cp", "--sparse=always", bare.image, i.image))
	prepare(t, i, ours(t), `
DEBIAN_FRONTEND=noninteractive dpkg -i /tmp/fluewright.deb
cp /tmp/site.toml /etc/fluewright/fluewright.toml
systemctl enable shell.service bench.service found.service var-log.mount
systemctl mask serial-getty@.service getty@.service apt-daily.timer apt-daily-upgrade.timer dpkg-db-backup.timer e2scrub_all.timer fstrim.timer`)
	t.Logf("the package installed after %v more", time.Since(begun).Round(time.Second))
	return i
}

// ours is what is laid into the machine, by its place there.
func ours(t *testing.T) map[string][]byte {
	t.Helper()
	must(t, exec.Command("../../.ci/package", *arch))
	debs, err := filepath.Glob("../../dist/fluewright_*_" + *arch + ".deb")
	if err != nil || len(debs) != 1 {
		t.Fatalf("packages %v, %v", debs, err)
	}
	chips := filepath.Join(t.TempDir(), "benchd")
	benchd := exec.Command("go", "build", "-o", chips, "../../sensors/bench/benchd")
	benchd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOARCH="+*arch)
	must(t, benchd)
	return map[string][]byte{
		"tmp/fluewright.deb":                slurp(t, debs[0]),
		"tmp/site.toml":                     []byte(site),
		"usr/local/bin/benchd":              slurp(t, chips),
		"etc/systemd/system/shell.service":  []byte(shellUnit),
		"etc/systemd/system/bench.service":  []byte(benchUnit),
		"etc/systemd/system/found.service":  []byte(foundUnit),
		"etc/systemd/system/var-log.mount":  []byte(logMount),
		"etc/udev/rules.d/61-virtual.rules": []byte(virtualRules),
	}
}

// site is the machine's configuration. The times are short, so that alarms come and go.
const site = `[site]
name = "basement"
units = "si"
[mqtt]
broker = "tcp://127.0.0.1:1883"
[web]
listen = "127.0.0.1:8080"
[alarms.overheat]
clear-after = "2 s"
[alarms.spillage]
hold = "1 s"
clear-after = "1 s"
`

const shellUnit = `[Unit]
Description=A shell for whoever holds the other end
DefaultDependencies=no
[Service]
ExecStart=/bin/sh -c '\
	for p in /sys/class/virtio-ports/*; do [ "$(cat $p/name)" = line ] && d=/dev/$${p##*/}; done; \
	exec sh -c "echo shell; exec sh" <>$d >&0 2>&0'
Restart=always
[Install]
WantedBy=sysinit.target
`

// benchUnit stands where the kernel's modules stand on a board: which devices a unit may
// open is told from /proc/devices when the unit starts.
const benchUnit = `[Unit]
Description=Virtual chips
DefaultDependencies=no
Before=fluewright.service
[Service]
ExecStartPre=/sbin/modprobe cuse
ExecStartPre=/bin/sh -c '[ -p /run/bench.ctl ] || mkfifo /run/bench.ctl'
ExecStart=/bin/sh -c 'exec benchd --cuse <>/run/bench.ctl'
ExecStartPost=/bin/sh -c 'until [ -e /dev/spidev1.0 ]; do sleep 0.1; done'
[Install]
WantedBy=sysinit.target
`

// virtualRules give the devices to those whom the package's rules give real ones.
const virtualRules = `SUBSYSTEM=="cuse", KERNEL=="i2c-*", GROUP="i2c", MODE="0660"
SUBSYSTEM=="cuse", KERNEL=="spidev*", GROUP="spi", MODE="0660"
`

// foundUnit sets the state aside as it was found, before the program takes it over.
const foundUnit = `[Unit]
Description=What the last time left
Before=fluewright.service
[Service]
Type=oneshot
ExecStart=/bin/sh -c 'cp -a /var/lib/fluewright /run/found || true'
[Install]
WantedBy=multi-user.target
`

// logMount is what a root that is read-only from the start needs for the broker.
const logMount = `[Unit]
Description=Logs in memory
[Mount]
What=tmpfs
Where=/var/log
Type=tmpfs
[Install]
WantedBy=local-fs.target
`

// debian returns a bare Debian on a disk, made now or taken from the folder of those that
// are kept.
func debian(t *testing.T) installed {
	t.Helper()
	dir := t.TempDir()
	if *kept != "" {
		dir = filepath.Join(*kept, *arch)
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	i := installed{filepath.Join(dir, "image"), filepath.Join(dir, "kernel"), filepath.Join(dir, "initrd")}
	done := filepath.Join(dir, "complete")
	if _, err := os.Stat(done); err == nil {
		return i
	}
	root := filepath.Join(dir, "root")
	foreign := *arch != native(t)
	if _, err := os.Stat(filepath.Join(root, "var/lib/dpkg/status")); err != nil {
		bootstrap := []string{"--variant=minbase", "--arch=" + *arch, "--include=" + included}
		if foreign {
			bootstrap = append(bootstrap, "--foreign")
		}
		must(t, exec.Command("debootstrap", append(bootstrap, suite, root, mirror)...))
	}
	version := kernel(t, root)
	must(t, exec.Command("depmod", "-b", root, version))
	must(t, exec.Command("cp", filepath.Join(root, "boot/vmlinuz-"+version), i.kernel))
	writeInitrd(t, i.initrd, root, version)
	if !foreign {
		must(t, exec.Command("chroot", root, "apt-get", "clean"))
	}
	must(t, exec.Command("mkfs.ext4", "-q", "-F", "-d", root, i.image, "1500M"))
	if foreign {
		// The machine itself runs the packages' scripts.
		prepare(t, i, nil, "/debootstrap/debootstrap --second-stage && rm -f /var/cache/apt/archives/*.deb")
	}
	must(t, exec.Command("rm", "-r", root))
	if err := os.WriteFile(done, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	return i
}

// native is the processor of this computer.
func native(t *testing.T) string {
	t.Helper()
	out, err := exec.Command("dpkg", "--print-architecture").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(out))
}

// kernel lays Debian's kernel for virtual machines into the root and returns its version.
// It is not installed, which would make an initial file system for minutes.
func kernel(t *testing.T, root string) (version string) {
	t.Helper()
	lists, err := filepath.Glob(filepath.Join(root, "var/lib/apt/lists/*_Packages"))
	if err != nil || len(lists) == 0 {
		t.Fatalf("lists of packages %v, %v", lists, err)
	}
	stanzas := map[string]map[string]string{}
	for stanza := range strings.SplitSeq(string(slurp(t, lists[0])), "\n\n") {
		fields := map[string]string{}
		for line := range strings.SplitSeq(stanza, "\n") {
			if key, value, ok := strings.Cut(line, ": "); ok {
				fields[key] = value
			}
		}
		stanzas[fields["Package"]] = fields
	}
	name, _, _ := strings.Cut(stanzas["linux-image-cloud-"+*arch]["Depends"], " ")
	answer, err := http.Get(mirror + "/" + stanzas[name]["Filename"])
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	deb, err := io.ReadAll(answer.Body)
	if sum := sha256.Sum256(deb); err != nil || hex.EncodeToString(sum[:]) != stanzas[name]["SHA256"] {
		t.Fatalf("%s: %s, %v, and not what the list of packages says", name, answer.Status, err)
	}
	unpack := exec.Command("dpkg-deb", "-x", "-", root)
	unpack.Args[2] = filepath.Join(t.TempDir(), "kernel.deb")
	if err := os.WriteFile(unpack.Args[2], deb, 0o644); err != nil {
		t.Fatal(err)
	}
	must(t, unpack)
	return strings.TrimPrefix(name, "linux-image-")
}

// prepare boots the disk only so far that a script can run in it as root, with files laid
// into it before, and lasts until the script has succeeded.
func prepare(t *testing.T, i installed, files map[string][]byte, script string) {
	t.Helper()
	var bundle bytes.Buffer
	w := tar.NewWriter(&bundle)
	add := func(name string, body []byte) {
		mode := int64(0o644)
		if strings.Contains(name, "bin/") {
			mode = 0o755
		}
		if err := w.WriteHeader(&tar.Header{Name: name, Mode: mode, Size: int64(len(body))}); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(body); err != nil {
			t.Fatal(err)
		}
	}
	add("tmp/prepare", []byte("#!/bin/sh\nset -e\nexport PATH=/usr/sbin:/usr/bin:/sbin:/bin\n"+script+"\necho the machine is prepared\n"))
	for name, body := range files {
		add(name, body)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "bundle.tar")
	if err := os.WriteFile(file, bundle.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	c := emulator(i, "prepare", "-serial", "stdio",
		"-drive", "if=virtio,format=raw,cache=unsafe,file="+i.image,
		"-drive", "if=virtio,format=raw,readonly=on,file="+file)
	out, err := c.CombinedOutput()
	if err != nil || !bytes.Contains(out, []byte("the machine is prepared")) {
		t.Fatalf("the machine cannot be prepared: %v\n%s", err, out)
	}
}

// emulator is a machine without its disks; more are further arguments.
func emulator(i installed, kernelWords string, more ...string) *exec.Cmd {
	kind := kinds[*arch]
	words := "console=" + kind.console + " panic=-1 quiet mitigations=off audit=0 systemd.show_status=0 " + kernelWords
	args := append(kind.emulator[1:len(kind.emulator):len(kind.emulator)],
		"-accel", "tcg,thread=multi", "-smp", "2", "-m", "512", "-display", "none", "-no-reboot", "-nic", "none",
		"-kernel", i.kernel, "-initrd", i.initrd, "-append", words, "-device", "virtio-rng-pci")
	return exec.Command(kind.emulator[0], append(args, more...)...)
}

func slurp(t *testing.T, file string) []byte {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func must(t *testing.T, c *exec.Cmd) {
	t.Helper()
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", strings.Join(c.Args, " "), err, out)
	}
}

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
	add("bin/busybox", slurp(t, filepath.Join(root, "bin/busybox")))
	add("init", []byte(firstProgram))
	add("TRAILER!!!", nil)
	if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}
