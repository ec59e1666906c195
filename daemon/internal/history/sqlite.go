package history

import (
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"

	"modernc.org/sqlite" // the driver, and only here
)

// pragmas are those of every connection. Exclusive before the journal: there is then no
// shared-memory file, which would be written back for ever.
var pragmas = []string{
	"locking_mode(EXCLUSIVE)",
	"journal_mode(WAL)",
	"synchronous(FULL)",
	"wal_autocheckpoint(500)",
	"journal_size_limit(4194304)",
	"temp_store(MEMORY)",
	"cell_size_check(ON)",
	"trusted_schema(OFF)",
}

// openFile opens or makes the file at path, for this process alone. There is one
// connection: whoever has it sees neither half of what another does.
func openFile(path string) (*sql.DB, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	u := url.URL{Scheme: "file", Path: abs, RawQuery: "_pragma=" + strings.Join(pragmas, "&_pragma=")}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	db.SetMaxIdleConns(1)
	if err := db.Ping(); err != nil {
		return nil, errors.Join(fmt.Errorf("open history: %w", err), db.Close())
	}
	return db, nil
}

// The primary result codes of SQLite that call for something of their own.
const (
	codeReadOnly = 8
	codeCorrupt  = 11
	codeFull     = 13
	codeNoFile   = 26 // not a database
)

// troubleOf says what kind of failure an error of the file is.
func troubleOf(err error) State {
	var e *sqlite.Error
	if errors.Is(err, errDamaged) {
		return Damaged
	}
	if !errors.As(err, &e) {
		return Failing
	}
	switch e.Code() & 0xff {
	case codeReadOnly:
		return ReadOnly
	case codeFull:
		return Full
	case codeCorrupt, codeNoFile:
		return Damaged
	default:
		return Failing
	}
}
