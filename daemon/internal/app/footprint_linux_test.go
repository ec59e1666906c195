package app

import (
	"bufio"
	"os"
	"strconv"
	"strings"
	"testing"
)

func TestOwnConstants(t *testing.T) {
	const program = "/usr/bin/fluewright"
	tests := map[string]struct {
		line       string
		begin, end uintptr
		ok         bool
	}{
		"code":              {"00010000-00b39000 r-xp 00000000 b3:02 12 /usr/bin/fluewright", 0x10000, 0xb39000, true},
		"constants":         {"00b39000-01ae0000 r--p 00b29000 b3:02 12                  /usr/bin/fluewright", 0xb39000, 0x1ae0000, true},
		"variables":         {"01ae0000-01b81000 rw-p 016e0000 b3:02 12 /usr/bin/fluewright", 0, 0, false},
		"shared":            {"00010000-00b39000 r--s 00000000 b3:02 12 /usr/bin/fluewright", 0, 0, false},
		"another file":      {"00010000-00b39000 r-xp 00000000 b3:02 12 /usr/bin/other", 0, 0, false},
		"its former self":   {"00010000-00b39000 r-xp 00000000 b3:02 12 /usr/bin/fluewright (deleted)", 0, 0, false},
		"nobody's":          {"19991c000000-19991c400000 rw-p 00000000 00:00 0", 0, 0, false},
		"the kernel's":      {"7f0b57056000-7f0b57058000 r-xp 00000000 00:00 0 [vdso]", 0, 0, false},
		"nothing":           {"", 0, 0, false},
		"no range":          {"zz /usr/bin/fluewright", 0, 0, false},
		"an end that is no": {"00b39000-00010000 r-xp 00000000 b3:02 12 /usr/bin/fluewright", 0, 0, false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			begin, end, ok := ownConstants(tt.line, program)
			if ok != tt.ok || ok && (begin != tt.begin || end != tt.end) {
				t.Errorf("%#x to %#x, %v; want %#x to %#x, %v", begin, end, ok, tt.begin, tt.end, tt.ok)
			}
		})
	}
}

// What is let go of is there again when it is used, and less is mapped than before.
func TestTheProgramGoesOnWithoutItsPages(t *testing.T) {
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("an emulator maps the file in its own way")
	}
	before := fileMapped(t)
	if err := unmapOwnFile(); err != nil {
		t.Fatal(err)
	}
	after := fileMapped(t)
	t.Logf("%d kB of files mapped before, %d after", before, after)
	if after > before/2 {
		t.Errorf("%d kB of files are mapped, %d were before", after, before)
	}
	if got := strings.Repeat("a", 3); got != "aaa" {
		t.Error(got)
	}
}

// fileMapped is how much of files is mapped, kB.
func fileMapped(t *testing.T) int {
	t.Helper()
	file, err := os.Open("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for lines := bufio.NewScanner(file); lines.Scan(); {
		if f := strings.Fields(lines.Text()); len(f) > 1 && f[0] == "RssFile:" {
			n, err := strconv.Atoi(f[1])
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
	}
	t.Fatal("the kernel does not say")
	return 0
}
