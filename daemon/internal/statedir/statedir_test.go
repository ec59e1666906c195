package statedir

import (
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// program makes this one write another format, for the test's time.
func program(t *testing.T, format int) {
	t.Helper()
	own := number
	t.Cleanup(func() { number = own })
	number = strconv.Itoa(format)
}

// put makes files, and directories for them.
func put(t *testing.T, dir string, files map[string]string) {
	t.Helper()
	for name, text := range files {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// there returns all files with their content.
func there(t *testing.T, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		name, _ := filepath.Rel(dir, path)
		all[name] = string(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

var kept = map[string]string{
	"memory.json": "alarms", "access.json": "accounts", "notify.key": "key", "mqtt-identity.pem": "certificate",
	"history.db": "not copied", "lock": "", "bundles/one.json": "not copied",
}

func TestEnter(t *testing.T) {
	tests := map[string]struct {
		mark   string
		format int
		want   Place  // Dir beside the state directory
		marked string // afterwards
		copies string // where they are, empty for none
	}{
		"new, or from before there were marks": {"", 1, Place{}, "1\nv3\n", ""},
		"its own":                              {"1\nv1\n", 1, Place{}, "1\nv1\n", ""},
		"a former program's":                   {"1\nv1\n", 2, Place{Former: 1}, "2\nv3\n", "format-1"},
		"one of long ago":                      {"1\nv1\n", 4, Place{Former: 1}, "4\nv3\n", "format-1"},
		"a newer program's":                    {"2\nv9\n", 1, Place{Dir: "format-1", NewerFormat: 2, Newer: "v9"}, "2\nv9\n", "format-1"},
		"a much newer program's":               {"12\nv99\nand more\n", 3, Place{Dir: "format-3", NewerFormat: 12, Newer: "v99"}, "12\nv99\nand more\n", "format-3"},
		"without the program's version":        {"2", 1, Place{Dir: "format-1", NewerFormat: 2}, "2", "format-1"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			program(t, tt.format)
			dir := t.TempDir()
			before := maps.Clone(kept)
			if tt.mark != "" {
				before[FileName] = tt.mark
			}
			put(t, dir, before)
			tt.want.Dir = filepath.Join(dir, tt.want.Dir)
			for range 2 { // the second is a restart
				got, err := Enter(dir, "v3")
				if err != nil || got != tt.want {
					t.Fatalf("%+v, %v; want %+v", got, err, tt.want)
				}
				after := there(t, dir)
				if after[FileName] != tt.marked {
					t.Errorf("marked %q, want %q", after[FileName], tt.marked)
				}
				for name, text := range kept {
					if after[name] != text {
						t.Errorf("%s was touched: %q", name, after[name])
					}
				}
				for name, text := range kept {
					copied := after[filepath.Join(tt.copies, name)]
					if want := strings.HasPrefix(text, "not") || text == ""; tt.copies != "" && (copied == "") != want {
						t.Errorf("the copy of %s holds %q", name, copied)
					}
				}
				if info, err := os.Stat(filepath.Join(dir, tt.copies)); err != nil || tt.copies != "" && info.Mode().Perm() != 0o700 {
					t.Errorf("%v, %v", info, err)
				}
				if tt.copies == "" && len(after) != len(kept)+1 {
					t.Errorf("there are more files: %q", slices.Sorted(maps.Keys(after)))
				}
				tt.want.Former = 0
			}
		})
	}
}

// An update, a way back and the update again: each program finds its own.
func TestThereAndBack(t *testing.T) {
	dir := t.TempDir()
	enter := func(format int) string {
		t.Helper()
		program(t, format)
		p, err := Enter(dir, "v"+strconv.Itoa(format))
		if err != nil {
			t.Fatal(err)
		}
		return p.Dir
	}
	at := enter(1)
	put(t, at, map[string]string{"memory.json": "of the first"})
	at = enter(2)
	put(t, at, map[string]string{"memory.json": "of the second"})
	if at = enter(1); there(t, at)["memory.json"] != "of the first" {
		t.Errorf("going back it finds %q", there(t, at))
	}
	put(t, at, map[string]string{"memory.json": "of the first, again"})
	if at = enter(1); there(t, at)["memory.json"] != "of the first, again" {
		t.Errorf("after a restart it finds %q", there(t, at))
	}
	if at = enter(2); at != dir || there(t, at)["memory.json"] != "of the second" {
		t.Errorf("updated again it finds %q in %s", there(t, at), at)
	}
	if !Copies(dir) {
		t.Error("the copies are gone before the update is proved")
	}
	if err := Prove(dir); err != nil || Copies(dir) {
		t.Errorf("%v", err)
	}
	if all := there(t, dir); len(all) != 2 || all["memory.json"] != "of the second" {
		t.Errorf("proved, there is %q", all)
	}
}

// What a former program has kept in between, nobody else has.
func TestAHistoryKeptInBetweenStays(t *testing.T) {
	dir := t.TempDir()
	program(t, 2)
	for i := range 2 {
		put(t, dir, map[string]string{"format-1/memory.json": "alarms", "format-1/history.db": strconv.Itoa(i)})
		if err := Prove(dir); err != nil || Copies(dir) {
			t.Fatal(err)
		}
	}
	if all := there(t, dir); all["format-1.kept-1/history.db"] != "0" || all["format-1.kept-2/history.db"] != "1" {
		t.Errorf("%q", all)
	}
}

// A power cut while copies are made leaves a directory that is begun anew.
func TestCopiesThatWereCutShort(t *testing.T) {
	dir := t.TempDir()
	program(t, 1)
	put(t, dir, map[string]string{FileName: "2\nv9\n", "memory.json": "alarms", "format-1.new/memory.json": "ala", "format-1.new/other.json": ""})
	p, err := Enter(dir, "v1")
	if err != nil {
		t.Fatal(err)
	}
	if got := there(t, p.Dir); len(got) != 1 || got["memory.json"] != "alarms" {
		t.Errorf("%q", got)
	}
}

// What cannot be written is told, and where to work is known all the same.
func TestNothingCanBeWritten(t *testing.T) {
	program(t, 1)
	none := filepath.Join(t.TempDir(), "none")
	if p, err := Enter(none, "v1"); err == nil || p.Dir != none {
		t.Errorf("%+v, %v", p, err)
	}
	dir := t.TempDir()
	put(t, dir, map[string]string{FileName: "2\n", "format-1.new": "in the way", "memory.json": "alarms"})
	if err := os.Mkdir(filepath.Join(dir, "format-1"), 0o700); err != nil {
		t.Fatal(err)
	}
	if p, err := Enter(dir, "v1"); err != nil || !p.Refused() {
		t.Errorf("%+v, %v", p, err)
	}
}

func TestMarksThatAreNone(t *testing.T) {
	program(t, 1)
	for _, text := range []string{"", "\n", "one\n", "0\n", "-1\n", "01\n", "1 \n", "99999999999999999999\n", "\x00\x00\x00\x00"} {
		dir := t.TempDir()
		put(t, dir, map[string]string{FileName: text})
		p, err := Enter(dir, "v1")
		if err == nil || p.Dir != dir || p.Refused() {
			t.Errorf("%q: %+v, %v", text, p, err)
		}
		if there(t, dir)[FileName] != text {
			t.Errorf("%q was overwritten", text)
		}
	}
}

// Find changes nothing.
func TestFind(t *testing.T) {
	program(t, 1)
	dir := t.TempDir()
	put(t, dir, map[string]string{FileName: "3\nv9\n", "memory.json": "alarms"})
	p, err := Find(dir)
	if err != nil || p.Dir != filepath.Join(dir, "format-1") || p.Newer != "v9" {
		t.Errorf("%+v, %v", p, err)
	}
	if _, err := os.Stat(p.Dir); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("it was made: %v", err)
	}
}

func FuzzMark(f *testing.F) {
	f.Add("1\nv1\n")
	f.Add("12")
	f.Fuzz(func(t *testing.T, text string) {
		format, by, err := parse(text)
		if err == nil && (format < 1 || strings.ContainsFunc(by, func(r rune) bool { return r < ' ' })) {
			t.Errorf("%q is format %d by %q", text, format, by)
		}
		if err == nil && !strings.HasPrefix(text, strconv.Itoa(format)) {
			t.Errorf("%q is format %d", text, format)
		}
	})
}
