package now

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"sync"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
)

const (
	// usualCourse is what is shown while nothing burns, longestCourse the longest burn that
	// is shown as a whole, beforeBurn what is shown of the time before it.
	usualCourse   = 6 * time.Hour
	longestCourse = 12 * time.Hour
	beforeBurn    = 15 * time.Minute
	// shortestCourse is the least that is worth a picture.
	shortestCourse = 5 * time.Minute
	// drawWithin bounds how long a picture may take.
	drawWithin = 5 * time.Second
)

// The widths of the picture, CSS px: on a telephone of 390 px, and on a desk.
const (
	narrowCourse = 324
	wideCourse   = 972
)

// drawn are the channels in the picture.
var drawn = []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue, frame.Draft}

// courseView is a picture of how it got there.
type courseView struct {
	Title        string
	Narrow, Wide string // addresses of pictures
	Words        string // instead of it
	More         string // address of the same in full
}

// courseOf says what to show of the time before a tick; nil where too little is kept.
func (p *Page) courseOf(s *status.Status) *courseView {
	if p.o.History == nil {
		return nil
	}
	w, burning := p.window(s)
	if w.To.Sub(w.From) < shortestCourse {
		return nil
	}
	v := &courseView{Title: "The last hours"}
	if burning {
		v.Title = "This burn so far"
	}
	// The time is there so that the picture is fetched anew each minute.
	address := func(width int) string {
		return fmt.Sprintf("/now/course.svg?width=%d&until=%d", width, w.To.Unix()/60)
	}
	v.Narrow, v.Wide = address(narrowCourse), address(wideCourse)
	v.Words = fmt.Sprintf("Temperatures at the fire, draft and phases from %s to %s.", w.From.Format("15:04"), w.To.Format("15:04"))
	v.More = "/trend?" + url.Values{"from": {w.From.UTC().Format(time.RFC3339)}, "to": {w.To.UTC().Format(time.RFC3339)}}.Encode()
	return v
}

// window is the time that is shown, to a full minute.
func (p *Page) window(s *status.Status) (w trend.Window, burning bool) {
	w = trend.Window{From: s.Wall.Add(-usualCourse), To: s.Wall}
	if a := &s.Assessment; a.Burning {
		begun := s.WallOf(a.Burn.Start).Add(-beforeBurn)
		if burning = begun.After(s.Wall.Add(-longestCourse)); burning {
			w.From = begun
		}
	}
	if kept, _ := p.o.History.Span(); w.From.Before(kept) {
		w.From = kept.In(s.Wall.Location())
	}
	w.From, w.To = w.From.Truncate(time.Minute), w.To.Truncate(time.Minute)
	return w, burning
}

// pictures are those of the present minute, by their width: however many pages are open,
// each is drawn once.
type pictures struct {
	mu   sync.Mutex
	made map[int]picture
}

type picture struct {
	of  trend.Window
	svg []byte
}

// course answers with the picture, which carries its own colours for light, dark and print.
func (p *Page) course(w http.ResponseWriter, r *http.Request) {
	s := p.o.Feed.Latest()
	width, err := strconv.Atoi(r.URL.Query().Get("width"))
	if s == nil || p.o.History == nil || err != nil || !slices.Contains([]int{narrowCourse, wideCourse}, width) {
		http.NotFound(w, r)
		return
	}
	svg, err := p.draw(r.Context(), s, width)
	if err != nil {
		p.o.Log.Debug("the burn cannot be drawn", "error", err)
		http.Error(w, "There is no picture now.", http.StatusServiceUnavailable)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "image/svg+xml")
	h.Set("Cache-Control", "private, max-age=300")
	// Shown as a document of its own it may bring its colours, and nothing else.
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'")
	_, _ = w.Write(svg) // whoever asked may have gone
}

func (p *Page) draw(ctx context.Context, s *status.Status, width int) ([]byte, error) {
	p.pictures.mu.Lock()
	defer p.pictures.mu.Unlock()
	window, _ := p.window(s)
	if made, ok := p.pictures.made[width]; ok && made.of == window {
		return made.svg, nil
	}
	ctx, cancel := context.WithTimeout(ctx, drawWithin)
	defer cancel()
	var channels [frame.Count]bool
	for _, c := range drawn {
		channels[c] = p.o.Verdict.Fitted[c]
	}
	pic, err := trend.Picture(ctx, p.o.History, p.o.Site, window, channels, width)
	if err != nil {
		return nil, err
	}
	pic.Prefix, pic.Scheme = "course", panel.Auto
	var b bytes.Buffer
	if err := pic.WriteSVG(&b); err != nil {
		return nil, err
	}
	if p.pictures.made == nil {
		p.pictures.made = make(map[int]picture)
	}
	p.pictures.made[width] = picture{window, b.Bytes()}
	return b.Bytes(), nil
}
