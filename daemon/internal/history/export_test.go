package history

import (
	"testing"

	"fluewright/analysis/frame"
)

// Turn lets the writer do what is due, if something is and it does not run.
func (s *Store) Turn() {
	select {
	case <-s.wake:
		s.turn()
	default:
	}
}

// Version is the newest of the schema.
var Version = len(migrations)

// MakeVersion makes a file as a former release left it, cut off, with three rows in its tail.
func MakeVersion(t testing.TB, path string, version int) {
	t.Helper()
	db, err := openFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := migrate(t.Context(), db, migrations[:version]); err != nil {
		t.Fatal(err)
	}
	var rows []row
	for i := range int64(3) {
		r := row{ms: i * 1000}
		r.quality[frame.Flue] = frame.Good
		rows = append(rows, r)
	}
	if _, err := db.Exec(`INSERT INTO boots VALUES (1, 'former', '', 0, 0, 1, NULL, NULL, NULL);
		INSERT INTO clock VALUES (1, 0, 1700000000000, 1, 1700000000000, 1, 1);`); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("INSERT INTO tail VALUES (?, ?)", int64(1)<<40, packTail(rows)); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}
