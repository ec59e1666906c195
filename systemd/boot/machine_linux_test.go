// Package boot_test boots a whole Debian with the package installed, under its real systemd,
// in an emulated computer, and does to it what happens to a computer in a basement.
package boot_test

import (
	"bufio"
	"bytes"
	"flag"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

var (
	boots = flag.Bool("boot", false, "boot machines: needs root, debootstrap, qemu and some minutes")
	cuts  = flag.Int("cuts", 3, "how often the power is cut")
	kept  = flag.String("kept", "", "folder that keeps the machine's disk; one that is there is used")
)

// patience is how long a machine may take to come up; emulated, beside other work.
const patience = 4 * time.Minute

// machine is a running computer, and a line to a shell of root's in it.
type machine struct {
	t       *testing.T
	process *exec.Cmd
	console bytes.Buffer // read it after the machine has ended
	line    net.Conn
	lines   *bufio.Scanner
	started time.Time
	asked   int
}

// disk returns a new disk that begins as the image, which stays as it is.
func disk(t *testing.T, image string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "disk.qcow2")
	must(t, exec.Command("qemu-img", "create", "-q", "-f", "qcow2", "-b", image, "-F", "raw", file))
	return file
}

// power switches a machine on and waits for its shell. More are arguments of the emulator.
func power(t *testing.T, i installed, disk string, more ...string) *machine {
	t.Helper()
	dir := t.TempDir()
	socket := filepath.Join(dir, "line")
	m := &machine{t: t}
	m.process = exec.Command("qemu-system-x86_64", append([]string{
		"-accel", "tcg,thread=multi", "-cpu", "max", "-smp", "2", "-m", "512", "-display", "none", "-no-reboot",
		"-kernel", i.kernel, "-initrd", i.initrd, "-append", "root=/dev/vda rw console=ttyS0 panic=-1 systemd.show_status=0 quiet",
		"-drive", "if=virtio,cache=writethrough,file=" + disk,
		"-serial", "stdio",
		"-device", "virtio-serial", "-chardev", "socket,id=line,server=on,wait=off,path=" + socket,
		"-device", "virtserialport,chardev=line,name=line",
		"-nic", "none",
	}, more...)...)
	m.process.Stdout, m.process.Stderr = &m.console, &m.console
	m.process.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	m.started = time.Now()
	if err := m.process.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(m.cut)
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		var err error
		if m.line, err = net.Dial("unix", socket); err == nil {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal(err)
		}
	}
	m.lines = bufio.NewScanner(m.line)
	_ = m.line.SetReadDeadline(time.Now().Add(patience))
	for m.lines.Scan() {
		if m.lines.Text() == "shell" {
			return m
		}
	}
	t.Fatalf("the machine does not come up: %v\n%s", m.lines.Err(), m.said())
	return nil
}

// cut takes the power away.
func (m *machine) cut() {
	if m.process.ProcessState != nil {
		return
	}
	_ = m.process.Process.Kill()
	_ = m.process.Wait()
	_ = m.line.Close()
}

// said is the console, of a machine that is cut for it.
func (m *machine) said() string {
	m.cut()
	return m.console.String()
}

// do runs a line in the machine's shell and returns what it writes and its exit code.
func (m *machine) do(line string) (text string, code int) {
	m.t.Helper()
	m.asked++
	end := fmt.Sprintf("done-%d", m.asked)
	if _, err := io.WriteString(m.line, "{ "+line+"\n} 2>&1 </dev/null; echo; echo "+end+" $?\n"); err != nil {
		m.t.Fatalf("%s: %v\n%s", line, err, m.said())
	}
	_ = m.line.SetReadDeadline(time.Now().Add(patience))
	var b strings.Builder
	for m.lines.Scan() {
		if rest, ok := strings.CutPrefix(m.lines.Text(), end+" "); ok {
			code, err := strconv.Atoi(rest)
			if err != nil {
				m.t.Fatal(err)
			}
			return strings.TrimSpace(b.String()), code
		}
		b.WriteString(m.lines.Text() + "\n")
	}
	m.t.Fatalf("%s: no answer: %v, but %s\n%s", line, m.lines.Err(), b.String(), m.said())
	return "", 0
}

// must is do for what has to succeed.
func (m *machine) must(line string) string {
	m.t.Helper()
	text, code := m.do(line)
	if code != 0 {
		m.t.Fatalf("%s ends with %d: %s", line, code, text)
	}
	return text
}

// await repeats a line until it succeeds and what it writes matches.
func (m *machine) await(within time.Duration, line, pattern string) string {
	m.t.Helper()
	want := regexp.MustCompile(pattern)
	var text string
	for deadline := time.Now().Add(within); time.Now().Before(deadline); time.Sleep(200 * time.Millisecond) {
		var code int
		if text, code = m.do(line); code == 0 && want.MatchString(text) {
			return text
		}
	}
	journal, _ := m.do("journalctl -b --no-pager -n 60")
	m.t.Fatalf("%s: no %s within %v, but %q\n%s", line, pattern, within, text, journal)
	return ""
}

// bench gives the virtual chips a control line.
func (m *machine) bench(line string) {
	m.t.Helper()
	m.must("echo '" + line + "' >/run/bench.ctl")
}

// installed is a disk with everything on it, and what boots it.
type installed struct{ image, kernel, initrd string }

// install makes the disk: a clean Debian with a broker, our package, and the virtual chips.
func install(t *testing.T) installed {
	t.Helper()
	if !*boots {
		t.Skip("boots machines for some minutes: only with -boot")
	}
	for _, program := range []string{"debootstrap", "qemu-system-x86_64", "qemu-img", "mkfs.ext4", "dpkg-deb"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Fatalf("%s is missing", program)
		}
	}
	dir := *kept
	if dir == "" {
		dir = t.TempDir()
	}
	i := installed{filepath.Join(dir, "image"), filepath.Join(dir, "vmlinuz"), filepath.Join(dir, "initrd")}
	if _, err := os.Stat(i.initrd); err == nil {
		return i
	}
	root := filepath.Join(dir, "root")
	must(t, exec.Command("debootstrap", "--variant=minbase",
		"--include=systemd,systemd-sysv,udev,kmod,dbus,mosquitto,mosquitto-clients,sqlite3,curl,linux-image-cloud-amd64,initramfs-tools", "bookworm", root))
	pack := exec.Command("../../.ci/package", "amd64")
	must(t, pack)
	debs, err := filepath.Glob("../../dist/fluewright_*_amd64.deb")
	if err != nil || len(debs) != 1 {
		t.Fatalf("packages %v, %v", debs, err)
	}
	must(t, exec.Command("cp", debs[0], filepath.Join(root, "tmp", "fluewright.deb")))
	must(t, exec.Command("chroot", root, "dpkg", "-i", "/tmp/fluewright.deb"))
	benchd := exec.Command("go", "build", "-o", filepath.Join(root, "usr/local/bin/benchd"), "../../sensors/bench/benchd")
	benchd.Env = append(os.Environ(), "CGO_ENABLED=0")
	must(t, benchd)
	for name, text := range map[string]string{
		"etc/fluewright/fluewright.toml": site,
		"etc/systemd/system/shell.service": `[Unit]
Description=A shell for whoever holds the other end
DefaultDependencies=no
After=local-fs.target systemd-udev-trigger.service
[Service]
ExecStart=/bin/sh -c 'until [ -e /dev/virtio-ports/line ]; do sleep 0.1; done; exec sh -c "echo shell; exec sh" <>/dev/virtio-ports/line >&0 2>&0'
Restart=always
[Install]
WantedBy=sysinit.target
`,
		"etc/systemd/system/bench.service": `[Unit]
Description=Virtual chips
DefaultDependencies=no
After=systemd-tmpfiles-setup-dev.service
[Service]
ExecStartPre=/sbin/modprobe fuse
ExecStartPre=/bin/sh -c 'mkdir -p /run/bench && { [ -p /run/bench.ctl ] || mkfifo /run/bench.ctl; }'
ExecStart=/bin/sh -c 'exec benchd --dir /run/bench --dev <>/run/bench.ctl'
[Install]
WantedBy=sysinit.target
`,
	} {
		if err := os.WriteFile(filepath.Join(root, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	must(t, exec.Command("chroot", root, "systemctl", "enable", "shell.service", "bench.service"))
	must(t, exec.Command("chroot", root, "chgrp", "fluewright", "/etc/fluewright/fluewright.toml"))
	must(t, exec.Command("mkfs.ext4", "-q", "-d", root, i.image, "1200M"))
	for glob, to := range map[string]string{"vmlinuz-*": i.kernel, "initrd.img-*": i.initrd} {
		found, err := filepath.Glob(filepath.Join(root, "boot", glob))
		if err != nil || len(found) != 1 {
			t.Fatalf("%s: %v, %v", glob, found, err)
		}
		must(t, exec.Command("cp", found[0], to))
	}
	must(t, exec.Command("rm", "-r", root))
	return i
}

const site = `[site]
name = "basement"
units = "si"
[mqtt]
broker = "tcp://127.0.0.1:1883"
[web]
listen = "127.0.0.1:8080"
`

func must(t *testing.T, c *exec.Cmd) {
	t.Helper()
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", strings.Join(c.Args, " "), err, out)
	}
}
