// Package statedir tells programs of different versions apart that work with one state
// directory, one after the other. An update from afar goes wrong now and then, and the
// former program then meets what the newer one has left.
//
// A mark in the directory says of which format its files are, and which program wrote it so.
// A program leaves a directory of a newer format alone: it works in a directory within, with
// copies of what it can use. Where a newer program takes a directory over, it leaves such
// copies behind for the former one, until it has worked for a while itself.
//
// The format is raised when a former program could not read a file any more, a member more
// in a strictly read file included; a test knows those. The history has a number of its own,
// as its versions only add. A history that a former program could not write gets a file of
// another name, and nothing is lost by going back.
package statedir

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"fluewright/daemon/internal/atomicfile"
)

// FileName is the name of the mark in the state directory: the format's number on the first
// line, for scripts, and the version of the program that wrote it so on the second.
const FileName = "format"

// number is the format of this program's files. It is text so that the linker can make the
// next program for a test; .ci/package reads it here too.
var number = "1"

// Format is the format of this program's files.
func Format() int {
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 {
		panic("the program was linked with the format " + strconv.Quote(number))
	}
	return n
}

// Place is where a program works.
type Place struct {
	// Dir is the directory.
	Dir string
	// NewerFormat is the format that is refused, and Newer the program that wrote it; zero
	// where the directory is this program's.
	NewerFormat int
	Newer       string
	// Former is the format that the files were of until now; zero if of this one.
	Former int
}

// Refused reports whether the directory is of a newer program.
func (p Place) Refused() bool { return p.NewerFormat > 0 }

// Find says where a program works, and changes nothing.
func Find(dir string) (Place, error) {
	p := Place{Dir: dir}
	of, by, err := read(dir)
	switch own := Format(); {
	case err != nil:
		return p, err
	case of > own:
		p.NewerFormat, p.Newer, p.Dir = of, by, within(dir, own)
	case of < own && of > 0:
		p.Former = of
	}
	return p, nil
}

// Enter prepares the directory for this program, whose version is given, and says where it
// works. Place.Dir holds also if there is an error: then what had to be written could not be,
// and a monitor goes on as far as it can.
func Enter(dir, version string) (Place, error) {
	p, err := Find(dir)
	if err != nil {
		return p, err
	}
	if p.Refused() {
		return p, leave(dir, Format())
	}
	of, _, err := read(dir)
	if of == Format() || err != nil {
		return p, err
	}
	if p.Former > 0 {
		// The mark comes last: what is begun anew after a power cut finds the copies.
		if err := leave(dir, p.Former); err != nil {
			return p, err
		}
	}
	mark := fmt.Sprintf("%d\n%s\n", Format(), strings.Map(plain, version))
	if err := atomicfile.Write(dir, FileName, []byte(mark)); err != nil {
		return p, fmt.Errorf("mark state directory: %w", err)
	}
	return p, nil
}

// Prove removes what was left for former programs. It is for a program that has worked. What
// one of them has kept there in between, a history, stays under another name.
func Prove(dir string) error {
	var errs []error
	for n := 1; n < Format(); n++ {
		errs = append(errs, putAway(within(dir, n)))
	}
	return errors.Join(errs...)
}

// Copies reports whether there is something that Prove would remove.
func Copies(dir string) bool {
	for n := 1; n < Format(); n++ {
		if _, err := os.Lstat(within(dir, n)); err == nil {
			return true
		}
	}
	return false
}

// within is the directory for programs of a format in one of a newer format.
func within(dir string, format int) string {
	return filepath.Join(dir, "format-"+strconv.Itoa(format))
}

func plain(r rune) rune {
	if r < ' ' {
		return -1
	}
	return r
}

// read reads the mark; zero where there is none: the first format had none at first.
func read(dir string) (format int, by string, err error) {
	file, err := os.Open(filepath.Join(dir, FileName))
	if errors.Is(err, fs.ErrNotExist) {
		return 0, "", nil
	}
	if err != nil {
		return 0, "", fmt.Errorf("read mark of state directory: %w", err)
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, 1024))
	if err != nil {
		return 0, "", fmt.Errorf("read mark of state directory: %w", err)
	}
	return parse(string(text))
}

func parse(text string) (format int, by string, err error) {
	first, rest, _ := strings.Cut(text, "\n")
	format, err = strconv.Atoi(first)
	if err != nil || format < 1 || strconv.Itoa(format) != first {
		return 0, "", fmt.Errorf("read mark of state directory: %.20q is no format's number", first)
	}
	by, _, _ = strings.Cut(rest, "\n")
	return format, strings.Map(plain, by), nil
}
