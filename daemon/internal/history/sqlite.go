package history

import (
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"modernc.org/sqlite" // the driver, and only here
)

// pragmas are those of every connection. Exclusive comes before all that touches the file:
// there is then no shared-memory file, which would be written back for ever, and which some
// file systems cannot have. The driver runs them in the order of the alphabet, so what must
// come later says that it means the schema "main".
var pragmas = []string{
	"cell_size_check(ON)", // touches nothing
	"locking_mode(EXCLUSIVE)",
	"main.journal_mode(WAL)",
	"main.journal_size_limit(4194304)",
	"main.synchronous(FULL)",
	"temp_store(MEMORY)",
	"trusted_schema(OFF)",
	"wal_autocheckpoint(500)",
}

// openFile opens or makes the file at path, for this process alone. There is one
// connection: whoever has it sees neither half of what another does.
func openFile(path string) (*sql.DB, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if err := checkHeader(abs); err != nil {
		return nil, fmt.Errorf("open history: %w", err)
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

// checkHeader refuses what is none of ours before SQLite writes into it. It reads the
// header, https://sqlite.org/fileformat2.html#the_database_header. What marks a history may
// still be in the journal beside it: then there are no marks at all.
func checkHeader(path string) error {
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer file.Close()
	var h [100]byte
	n, err := io.ReadFull(file, h[:])
	switch {
	case n == 0 && errors.Is(err, io.EOF):
		return nil
	case errors.Is(err, io.ErrUnexpectedEOF):
		return errDamaged
	case err != nil:
		return err
	}
	version, app := binary.BigEndian.Uint32(h[60:]), binary.BigEndian.Uint32(h[68:])
	unmarked := version == 0 && app == 0 && h[18] == 2 // 2: it has a write-ahead log
	if string(h[:16]) != "SQLite format 3\x00" || app != applicationID && !unmarked {
		return errDamaged
	}
	return nil
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
