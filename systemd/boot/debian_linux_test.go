package boot_test

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

const (
	suite  = "bookworm"
	mirror = "http://deb.debian.org/debian"
	// included is what the machine has beside the bare Debian. The package brings the rest.
	included = "systemd,systemd-sysv,udev,kmod,dbus,mosquitto,mosquitto-clients,sqlite3,curl,busybox-static"
)

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
	// What debootstrap makes in a container is for that container.
	must(t, exec.Command("sh", "-c", `cd "$0" && for d in proc sys; do if [ -L $d ]; then rm $d && mkdir $d; fi; done`, root))
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
	file := filepath.Join(t.TempDir(), "kernel.deb")
	if err := os.WriteFile(file, deb, 0o644); err != nil {
		t.Fatal(err)
	}
	// Folders that are links in the root stay so.
	must(t, exec.Command("sh", "-c", `dpkg-deb --fsys-tarfile "$0" | tar -x --keep-directory-symlink -C "$1"`, file, root))
	return strings.TrimPrefix(name, "linux-image-")
}
