package boot_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A made-up log: A is written and flushed, then B over it, C beside it and D, a superblock,
// without a flush.
func TestWhatADiskLosesInAPowerCut(t *testing.T) {
	log := make([]byte, sector)
	binary.LittleEndian.PutUint64(log, logMagic)
	binary.LittleEndian.PutUint64(log[8:], 1)
	binary.LittleEndian.PutUint64(log[16:], 2)
	add := func(to, flags uint64, text string, sectors int) {
		head := make([]byte, sector)
		binary.LittleEndian.PutUint64(head, to)
		binary.LittleEndian.PutUint64(head[8:], uint64(sectors))
		binary.LittleEndian.PutUint64(head[16:], flags)
		log = append(append(log, head...), bytes.Repeat([]byte(text), sectors*sector)...)
	}
	add(11, 0, "A", 2)
	add(0, logFlush, "", 0)
	add(11, 0, "B", 1)
	add(15, 0, "C", 2)
	add(2, 0, "D", 2)

	seen := map[string]bool{}
	for seed := range uint64(300) {
		file, err := os.Create(filepath.Join(t.TempDir(), "disk"))
		if err != nil {
			t.Fatal(err)
		}
		if err := file.Truncate(20 * sector); err != nil {
			t.Fatal(err)
		}
		lost, held, err := settle(bytes.NewReader(log), math.MaxInt64, file, rand.New(rand.NewPCG(seed, 0)))
		if err != nil || held != 5 {
			t.Fatalf("%d held back, %v", held, err)
		}
		disk := slurp(t, file.Name())
		if err := file.Close(); err != nil {
			t.Fatal(err)
		}
		kinds := ""
		for n := range 20 {
			kinds += string(disk[n*sector])
		}
		seen[kinds] = true
		if want := 5 - strings.Count(kinds, "B") - strings.Count(kinds, "C") - strings.Count(kinds, "D"); lost != want {
			t.Errorf("%q: %d lost, said %d", kinds, want, lost)
		}
	}
	if len(seen) != 16 {
		t.Errorf("of three sectors and a superblock that may each be lost there are %d outcomes: %v", len(seen), seen)
	}
	for kinds := range seen {
		if kinds[12] != 'A' || kinds[11] != 'A' && kinds[11] != 'B' {
			t.Errorf("%q: what was flushed is gone", kinds)
		}
		if kinds[2] != kinds[3] {
			t.Errorf("%q: half a superblock", kinds)
		}
	}
}
