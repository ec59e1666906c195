package commission

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/atomicfile"
	"fluewright/daemon/internal/units"
)

// The files in the state directory: the procedure under way, one that could not be read,
// and the record of the last commissioning.
const (
	FileName   = "commissioning.json"
	BrokenName = "commissioning.json.broken"
	RecordName = "commissioning-record.json"
)

// ErrNone is returned where no commissioning is under way.
var ErrNone = errors.New("no commissioning is under way")

// DeskOptions is what a desk needs.
type DeskOptions struct {
	Dir   string // the state directory; empty: nothing is kept
	Units units.System
	// About says what a report says of site and instruments, as they are now.
	About func() About
	// Keep is given each record, JSON on one line; nil: nobody keeps it.
	Keep func(record []byte)
	// Site is what is known before anybody has entered anything.
	Site commissioning.Site
	// Say is told what went wrong with the files.
	Say func(msg string, args ...any)
}

// Desk owns the one commissioning of a site: readings come from the loop, entries from
// pages and terminals, and it is kept on the disk so that it goes on after a restart. It is
// safe for concurrent use.
type Desk struct {
	o    DeskOptions
	wake chan struct{} // holds one token while there is something to save

	mu    sync.Mutex
	state *commissioning.State // nil: none is under way
	wall  time.Time            // of the latest frame
	trust bool

	saving sync.Mutex

	reference *Reference // of the last record; nil: there is none. Guarded by mu.
}

// kept is the file of the procedure under way.
type kept struct {
	Saved   time.Time       `json:"saved"`
	Trusted bool            `json:"clock_trusted"`
	State   json.RawMessage `json:"state"`
}

// NewDesk returns one that goes on with what was kept; now and trusted are the wall clock.
func NewDesk(o DeskOptions, now time.Time, trusted bool) *Desk {
	d := &Desk{o: o, wake: make(chan struct{}, 1), wall: now, trust: trusted}
	if o.Dir == "" {
		return d
	}
	if last, err := d.Last(); err == nil {
		ref := last.Reference()
		d.reference = &ref
	} else if !errors.Is(err, fs.ErrNotExist) {
		o.Say("the record of the commissioning cannot be read: nothing is held against it", "error", err)
	}
	data, err := os.ReadFile(filepath.Join(o.Dir, FileName))
	if errors.Is(err, fs.ErrNotExist) {
		return d
	}
	var k kept
	if err == nil {
		err = strict(data, &k)
	}
	if err == nil {
		d.state, err = Parse(k.State)
	}
	if err != nil {
		o.Say("the commissioning under way is lost; the file is set aside", "error", err)
		if err := os.Rename(filepath.Join(o.Dir, FileName), filepath.Join(o.Dir, BrokenName)); err != nil {
			o.Say("it could not be", "error", err)
		}
		return d
	}
	away := time.Duration(0)
	if gone := now.Sub(k.Saved); k.Trusted && trusted && gone > 0 {
		away = gone
	}
	d.state.Resume(away)
	return d
}

// Step takes a frame. It is quick but for a fit, some tens of milliseconds a few times in a
// commissioning, and waits for no disk.
func (d *Desk) Step(l commissioning.Look, wall time.Time, trusted bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.wall, d.trust = wall, trusted
	if d.state == nil {
		return
	}
	running, elapsed := d.state.Running, d.state.Watch.Elapsed
	d.state.Step(l)
	// Each result is saved at once, the clock of a fire now and then.
	if running && (!d.state.Running || int(elapsed/saveEvery) != int(d.state.Watch.Elapsed/saveEvery)) {
		select {
		case d.wake <- struct{}{}:
		default:
		}
	}
}

// saveEvery is how much of a measurement under way may be lost, s.
const saveEvery = 60.0

// Wake returns a channel that holds a token while there is something to Save.
func (d *Desk) Wake() <-chan struct{} { return d.wake }

// Save writes the procedure to the disk.
func (d *Desk) Save() error {
	d.saving.Lock()
	defer d.saving.Unlock()
	if d.o.Dir == "" {
		return nil
	}
	d.mu.Lock()
	if d.state == nil {
		d.mu.Unlock()
		err := os.Remove(filepath.Join(d.o.Dir, FileName))
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	}
	state, err := json.Marshal(d.state)
	k := kept{d.wall.Round(0), d.trust, state}
	d.mu.Unlock()
	if err != nil {
		return fmt.Errorf("keep commissioning: %w", err)
	}
	data, err := json.Marshal(k)
	if err == nil {
		err = atomicfile.Write(d.o.Dir, FileName, append(data, '\n'))
	}
	if err != nil {
		return fmt.Errorf("keep commissioning: %w", err)
	}
	return nil
}

// View returns the procedure in words; false if none is under way.
func (d *Desk) View() (View, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.state == nil {
		return View{}, false
	}
	return Look(d.state, d.o.Units), true
}

// Draw returns a picture of the procedure, SVG, by its name; false while there is nothing
// to see on it.
func (d *Desk) Draw(name string) (svg string, ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch s := d.state; {
	case s == nil:
	case name == FirePicture && len(s.Numbers.Fire) >= fewest:
		return fire(s, d.o.Units), true
	case name == FitPicture && s.Numbers.Fitted:
		return fitted(s, d.o.Units), true
	}
	return "", false
}

// Site returns what a form about the site begins with: what was entered, or else what the
// configuration and the last record know.
func (d *Desk) Site() commissioning.Site {
	d.mu.Lock()
	entered := commissioning.Site{}
	if d.state != nil {
		entered = d.state.Site
	}
	d.mu.Unlock()
	if entered != (commissioning.Site{}) {
		return entered
	}
	if r, err := d.Last(); err == nil {
		site := r.State.Site
		site.Regulator.Mark = r.State.Mark
		return site
	}
	return d.o.Site
}

// Last returns the record of the last commissioning.
func (d *Desk) Last() (Record, error) {
	if d.o.Dir == "" {
		return Record{}, fs.ErrNotExist
	}
	data, err := os.ReadFile(filepath.Join(d.o.Dir, RecordName))
	if err != nil {
		return Record{}, fmt.Errorf("read the last record: %w", err)
	}
	return ParseRecord(data)
}

// Reference returns what the last commissioning found; false if there was none.
func (d *Desk) Reference() (Reference, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.reference == nil {
		return Reference{}, false
	}
	return *d.reference, true
}

// Begin begins a commissioning, or a season's start after one. It is refused while one is
// under way that is not over.
func (d *Desk) Begin(season bool) error {
	fresh := commissioning.New()
	if season {
		last, err := d.Last()
		if err != nil {
			return fmt.Errorf("a season's start follows a commissioning: %w", err)
		}
		if fresh, err = commissioning.NewSeason(last.State.Site, last.State.Mark); err != nil {
			return err
		}
	}
	d.mu.Lock()
	if d.state != nil {
		d.mu.Unlock()
		return errors.New("a commissioning is under way: go on with it, or close it")
	}
	d.state = fresh
	d.mu.Unlock()
	return d.Save()
}

// Answer takes an entry; a *commissioning.Refusal says why it was not taken. What was taken
// is on the disk when it returns nil.
func (d *Desk) Answer(e commissioning.Entry) error {
	d.mu.Lock()
	if d.state == nil {
		d.mu.Unlock()
		return ErrNone
	}
	err := d.state.Answer(e)
	d.mu.Unlock()
	if err != nil {
		return err
	}
	return d.Save()
}

// Record makes the record of the procedure as it stands.
func (d *Desk) Record() (Record, error) {
	about := d.o.About()
	var before *Record
	if last, err := d.Last(); err == nil {
		before = &last
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.state == nil {
		return Record{}, ErrNone
	}
	own := *d.state // the record must not change when the procedure goes on
	for i := range own.Results {
		own.Results[i].Findings = slices.Clone(own.Results[i].Findings)
	}
	own.Numbers.Readings = slices.Clone(own.Numbers.Readings)
	own.Numbers.Fire = slices.Clone(own.Numbers.Fire)
	return NewRecord(&own, about, before)
}

// Close ends the procedure, over or not: its record is kept, and it is no longer under way.
// The record of a whole commissioning becomes what later seasons are compared with.
func (d *Desk) Close() (Record, error) {
	r, err := d.Record()
	if err != nil {
		return Record{}, err
	}
	text, err := json.Marshal(r)
	if err != nil {
		return Record{}, fmt.Errorf("write record: %w", err)
	}
	if d.o.Keep != nil {
		d.o.Keep(text)
	}
	if d.o.Dir != "" && r.State.Over() && !r.State.Season {
		if err := atomicfile.Write(d.o.Dir, RecordName, append(text, '\n')); err != nil {
			return Record{}, fmt.Errorf("keep record: %w", err)
		}
	}
	d.mu.Lock()
	d.state = nil
	if r.State.Over() && !r.State.Season {
		ref := r.Reference()
		d.reference = &ref
	}
	d.mu.Unlock()
	return r, d.Save()
}
