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
	// Before SQLite has it: closing it would write what is in the journal into it.
	if app == applicationID || unmarked {
		if version, err = journalVersion(path+"-wal", version); err != nil {
			return err
		}
		if version >= breaking {
			return errNewer
		}
	}
	if string(h[:16]) != "SQLite format 3\x00" || app != applicationID && !unmarked {
		return errDamaged
	}
	return nil
}

// journalVersion returns the highest version that the first page has in a write-ahead log, at
// least that of the file, https://sqlite.org/fileformat2.html#the_write_ahead_log. Whether the
// page was committed is not asked: a migration that was cut off is for who began it.
func journalVersion(path string, version uint32) (uint32, error) {
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return version, nil
	}
	if err != nil {
		return 0, err
	}
	defer file.Close()
	const header, frame = 32, 24
	var h [header]byte
	if _, err := file.ReadAt(h[:], 0); err != nil {
		return version, nil // none that was begun
	}
	page := int64(binary.BigEndian.Uint32(h[8:]))
	if page < 512 || page > 65536 {
		return version, nil // SQLite does not take it either
	}
	var f [frame + 64]byte // with the beginning of the page
	for at := int64(header); ; at += frame + page {
		if _, err := file.ReadAt(f[:], at); err != nil {
			return version, nil
		}
		if first := binary.BigEndian.Uint32(f[:]) == 1; first && string(f[8:16]) == string(h[16:24]) { // its salts
			version = max(version, binary.BigEndian.Uint32(f[frame+60:]))
		}
	}
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
	switch {
	case errors.Is(err, errDamaged):
		return Damaged
	case errors.Is(err, errNewer):
		return Newer
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
