package boot_test

import (
	"archive/tar"
	"bytes"
	"flag"
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

// kinds are the machines by their processor: the emulator, and where the kernel talks.
var kinds = map[string]struct {
	emulator []string
	console  string
}{
	// What a processor has that nobody needs here brings modules that load for seconds.
	"amd64": {[]string{"qemu-system-x86_64", "-M", "pc,usb=off", "-cpu", "qemu64,-svm"}, "ttyS0"},
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
systemctl mask serial-getty@.service getty@.service apt-daily.timer apt-daily-upgrade.timer dpkg-db-backup.timer e2scrub_all.timer \
	e2scrub_reap.service fstrim.timer systemd-logind.service systemd-update-utmp.service systemd-update-utmp-runlevel.service`)
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
		"-accel", "tcg,thread=multi", "-smp", "2", "-m", "512", "-nodefaults", "-display", "none", "-no-reboot",
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
