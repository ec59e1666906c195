package statedir_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"fluewright/analysis"
	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/calibrate"
	"fluewright/daemon/internal/notify"
	"fluewright/daemon/internal/statedir"
)

var update = flag.Bool("update", false, "write the shape of the files; only for a format that no release has")

// Files that are read strictly cannot be read by a former program once they have a member
// more: then the format must be another one.
func TestTheFormatIsWhatItWas(t *testing.T) {
	var all []string
	for name, file := range map[string]any{
		"memory.json": analysis.Snapshot{}, "notify.json": notify.Memory{}, "calibration.json": calibrate.File{},
		"commissioning.json": commissioning.State{},
	} {
		all = members(all, name, reflect.TypeOf(file), 0)
	}
	slices.Sort(all)
	got := strings.Join(slices.Compact(all), "\n") + "\n"
	path := filepath.Join("testdata", fmt.Sprintf("format-%d.txt", statedir.Format()))
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got == string(want) {
		return
	}
	was := strings.Split(string(want), "\n")
	for _, line := range strings.Split(got, "\n") {
		if !slices.Contains(was, line) {
			t.Errorf("new or another: %s", line)
		}
	}
	t.Errorf("the files in the state directory are not as %s has them. If a release has that format, raise the number in statedir.go; then run this test with -update", path)
}

// members lists what a JSON file holds, by their paths.
func members(all []string, at string, of reflect.Type, depth int) []string {
	for of.Kind() == reflect.Pointer || of.Kind() == reflect.Slice || of.Kind() == reflect.Array || of.Kind() == reflect.Map {
		of = of.Elem()
	}
	custom := reflect.PointerTo(of).Implements(reflect.TypeFor[interface{ MarshalJSON() ([]byte, error) }]()) ||
		reflect.PointerTo(of).Implements(reflect.TypeFor[interface{ MarshalText() ([]byte, error) }]())
	if of.Kind() != reflect.Struct || custom || depth > 8 {
		return append(all, at+" "+of.Kind().String())
	}
	for f := range fields(of) {
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case name == "-" || !f.IsExported() && !f.Anonymous:
		case f.Anonymous && name == "":
			all = members(all, at, f.Type, depth+1)
		case name == "":
			all = members(all, at+"."+f.Name, f.Type, depth+1)
		default:
			all = members(all, at+"."+name, f.Type, depth+1)
		}
	}
	return all
}

func fields(of reflect.Type) func(func(reflect.StructField) bool) {
	return func(yield func(reflect.StructField) bool) {
		for i := range of.NumField() {
			if !yield(of.Field(i)) {
				return
			}
		}
	}
}
