package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"fluewright/analysis/frame"
)

// errDamaged is returned for a file that SQLite reads and that is none of ours.
var errDamaged = errors.New("the file is not a history")

// errNewer is returned for a file that this program must not write.
var errNewer = errors.New("the file is of a newer program")

// breaking is the least version of files that former programs can neither read nor write.
// Those below it only add.
const breaking = 1000

// applicationID marks the file as a history: "flue".
const applicationID = 0x666c7565

// migrations make a file of each version one of the next. They only add.
var migrations = []string{
	base(),
	`CREATE TABLE outbox (
		destination TEXT PRIMARY KEY, -- who is sent to
		boot INTEGER NOT NULL,        -- what has been sent: up to this boot
		ms INTEGER NOT NULL,          -- and this moment of it
		event INTEGER NOT NULL        -- and this number of an event
	) WITHOUT ROWID;`,
	hours.create(),
}

// eventTables are the tables of what happened, with their columns beside those that all
// of them have: the moment on the boot's clock, what the wall clock said then (ms since
// 1970), and whether it was trusted.
var eventTables = []struct{ name, view, columns string }{
	{"alarms", "alarm_log", `alarm TEXT, channel TEXT, change TEXT, state TEXT, priority TEXT, occurrence INTEGER,
		acknowledged INTEGER, first INTEGER, value REAL, "limit" REAL, fault TEXT, message TEXT, action TEXT, causes TEXT, expected_ms INTEGER`},
	{"notices", "notice_log", `notice TEXT, job TEXT, lasted_s REAL, message TEXT`},
	{"burns", "burn_log", `kind TEXT, start_ms INTEGER, end_ms INTEGER, peak_flue_celsius REAL, peak_chamber_celsius REAL,
		mean_draft_pascals REAL, least_draft_pascals REAL, most_draft_pascals REAL, loads INTEGER, doors INTEGER,
		lighting_s REAL, warm_up_s REAL, clean_burn_s REAL, smoulder_s REAL, coals_s REAL, unseen_s REAL,
		draft_below_s REAL, draft_above_s REAL, condensing_ks REAL, tar_ks REAL, heat_joules REAL`},
	{"phases", "phase_log", `phase TEXT, before TEXT`},
	{"loads", "load_log", `laid_ms INTEGER, cold INTEGER, door INTEGER, coals_s REAL, flue_celsius REAL, chamber_celsius REAL, firebox_celsius REAL`},
	{"doors", "door_log", `open INTEGER, opened_ms INTEGER`},
	{"notes", "note_log", `author TEXT, note TEXT`},
	{"fuel", "fuel_log", `author TEXT, wood TEXT, kilograms REAL, moisture REAL, note TEXT`},
	{"calibrations", "calibration_log", `channel TEXT, method TEXT, entry TEXT`},
	{"commissionings", "commissioning_log", `report TEXT`},
}

// base is version 1. The channels are those of this version: a new one is added by a
// migration.
func base() string {
	var b strings.Builder
	b.WriteString(`
CREATE TABLE channels (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, unit TEXT NOT NULL, counts_per_unit REAL NOT NULL);
CREATE TABLE software (id INTEGER PRIMARY KEY, version TEXT NOT NULL UNIQUE);
CREATE TABLE configurations (id INTEGER PRIMARY KEY, body TEXT NOT NULL UNIQUE);
CREATE TABLE boots (
	id INTEGER PRIMARY KEY,
	identity TEXT NOT NULL UNIQUE,
	kernel TEXT NOT NULL,      -- the computer's boot; empty if not known
	uptime_ms INTEGER NOT NULL,-- its age at ms 0
	seen_ms INTEGER NOT NULL,  -- what the wall clock said at ms 0
	trusted INTEGER NOT NULL,  -- whether it was synchronised then
	software INTEGER, configuration INTEGER,
	ended_ms INTEGER           -- NULL while it runs, and until the next one looks
);
CREATE TABLE clock (
	boot INTEGER NOT NULL, from_ms INTEGER NOT NULL,    -- it goes on to the boot's next from_ms, or its end
	seen_ms INTEGER NOT NULL, trusted INTEGER NOT NULL, -- what the wall clock said at from_ms
	wall_ms INTEGER NOT NULL, rate REAL NOT NULL,       -- what it should have said
	sure INTEGER NOT NULL,                              -- tied to a synchronised clock
	PRIMARY KEY (boot, from_ms)
) WITHOUT ROWID;
CREATE TABLE chunks (id INTEGER PRIMARY KEY, n INTEGER NOT NULL, good INTEGER NOT NULL, min INTEGER, max INTEGER, sum INTEGER, body BLOB NOT NULL);
CREATE TABLE tail (id INTEGER PRIMARY KEY, body BLOB NOT NULL);
`)
	for i, c := range frame.All() {
		fmt.Fprintf(&b, "INSERT INTO channels VALUES (%d, '%v', '%s', %g);\n", i, c, unit(c), perUnit[c])
	}
	for _, r := range []rollUp{minutes, quarters} {
		b.WriteString(r.create())
	}
	for _, t := range eventTables {
		fmt.Fprintf(&b, "CREATE TABLE %s (id INTEGER PRIMARY KEY, ms INTEGER NOT NULL, seen_ms INTEGER NOT NULL, trusted INTEGER NOT NULL, %s);\n", t.name, t.columns)
		b.WriteString(eventView(t.name, t.view, t.columns))
	}
	b.WriteString(`CREATE VIEW boot_log AS SELECT b.id AS boot, ` + wallOf("b.id", "0") + ` AS time, ` + wallOf("b.id", "b.ended_ms") + ` AS ended,
	s.version AS software, c.body AS configuration FROM boots b LEFT JOIN software s ON s.id = b.software LEFT JOIN configurations c ON c.id = b.configuration;`)
	return b.String()
}

// wallOf is SQL for the wall time of a moment of a boot.
func wallOf(boot, ms string) string {
	return `(SELECT strftime('%Y-%m-%dT%H:%M:%fZ', (k.wall_ms + (` + ms + ` - k.from_ms) * k.rate) / 1000.0, 'unixepoch') FROM clock k
	WHERE k.boot = ` + boot + ` AND k.from_ms <= max(` + ms + `, (SELECT min(from_ms) FROM clock WHERE boot = ` + boot + `)) ORDER BY k.from_ms DESC LIMIT 1)`
}

// eventView shows an event's moments as times and leaves the rest as it is.
func eventView(table, view, columns string) string {
	boot := "(e.id >> 40)"
	list := []string{wallOf(boot, "e.ms") + " AS time", "(SELECT sure FROM clock k WHERE k.boot = " + boot + " AND k.from_ms <= e.ms ORDER BY k.from_ms DESC LIMIT 1) AS time_sure"}
	for column := range strings.SplitSeq(columns, ",") {
		name := strings.Fields(column)[0]
		if moment, ok := strings.CutSuffix(name, "_ms"); ok {
			list = append(list, wallOf(boot, "e."+name)+` AS "`+moment+`"`)
		} else {
			list = append(list, "e."+name)
		}
	}
	return fmt.Sprintf("CREATE VIEW %s AS SELECT %s, %s AS boot FROM %s e;\n", view, strings.Join(list, ", "), boot, table)
}

// migrate brings the file to the newest version. A newer one is left as it is, and refused
// where it does not only add.
func migrate(ctx context.Context, db *sql.DB, steps []string) error {
	var version, app, tables int
	row := db.QueryRowContext(ctx, "SELECT (SELECT user_version FROM pragma_user_version), (SELECT application_id FROM pragma_application_id), (SELECT count(*) FROM sqlite_schema)")
	if err := row.Scan(&version, &app, &tables); err != nil {
		return fmt.Errorf("read schema: %w", err)
	}
	if version >= breaking && app == applicationID {
		return fmt.Errorf("read schema of version %d: %w", version, errNewer)
	}
	if version < 0 || app != applicationID && (version != 0 || tables != 0) {
		return fmt.Errorf("read schema: %w", errDamaged)
	}
	for ; version < len(steps); version++ {
		tx, err := db.BeginTx(ctx, nil)
		if err != nil {
			return fmt.Errorf("migrate: %w", err)
		}
		_, err = tx.ExecContext(ctx, steps[version]+fmt.Sprintf(";PRAGMA user_version = %d; PRAGMA application_id = %d;", version+1, applicationID))
		if err == nil {
			err = tx.Commit()
		}
		if err != nil {
			return errors.Join(fmt.Errorf("migrate to version %d: %w", version+1, err), ignoreDone(tx.Rollback()))
		}
	}
	return nil
}

func ignoreDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}
