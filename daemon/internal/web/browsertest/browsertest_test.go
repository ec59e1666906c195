package browsertest

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"
)

// What the rig is for: it sees what is wrong with a page, and nothing of one that is right.
func TestWhatIsWrongIsSeen(t *testing.T) {
	b := Start(t)
	const right = `<!DOCTYPE html><html lang="en"><head><title>A page</title><meta name="viewport" content="width=device-width, initial-scale=1"></head>
<body><main><h1>A page</h1><p>With <a href="/other">a link</a> within a sentence.</p>%s</main></body></html>`
	page := right
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		w.Header().Set("Content-Security-Policy", "script-src 'self'")
		fmt.Fprint(w, page)
	})
	mux.HandleFunc("GET /favicon.ico", func(http.ResponseWriter, *http.Request) {})
	mux.HandleFunc("GET /tapped.js", func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprint(w, `document.querySelector('button').addEventListener('click', () => setTimeout(() => { document.title = 'Tapped'; }, 200));`)
	})
	server := httptest.NewServer(mux)
	defer server.Close()
	look := func(t *testing.T, l Look, more string) *Tab {
		page = fmt.Sprintf(right, more)
		tab := b.Tab(t, l)
		tab.Open(server.URL)
		return tab
	}
	t.Run("nothing", func(t *testing.T) {
		look(t, Look{Width: 390}, "").Check("right")
	})
	t.Run("contrast", func(t *testing.T) {
		tab := look(t, Look{Width: 390}, `<p style="color: #ccc; background: #fff">faint</p>`)
		if got := strings.Join(tab.Violations(), "\n"); !strings.Contains(got, "color-contrast") || !strings.Contains(got, "faint") {
			t.Errorf("got %q", got)
		}
	})
	t.Run("a small target", func(t *testing.T) {
		tab := look(t, Look{Width: 390}, `<button style="width: 20px; height: 60px">x</button>`)
		if got := tab.smallTargets(); len(got) != 1 || !strings.Contains(got[0], "20 × 60") {
			t.Errorf("got %q", got)
		}
	})
	t.Run("what is forbidden", func(t *testing.T) {
		tab := look(t, Look{Width: 1280}, `<script>alert(1)</script>`)
		if got := strings.Join(tab.Said(), "\n"); !strings.Contains(got, "Content Security Policy") {
			t.Errorf("got %q", got)
		}
	})
	for _, l := range Looks {
		t.Run("a tap, "+l.String(), func(t *testing.T) {
			tab := look(t, l, `<p style="height: 3000px">far down</p><button style="width: 60px; height: 60px">x</button><script src="/tapped.js"></script>`)
			tab.Tap("button")
			if took := tab.Until(`document.title === 'Tapped'`, 10*time.Second); took < 100*time.Millisecond {
				t.Errorf("it was so after %v already", took)
			}
			dark := !l.Dark
			if tab.Eval(`matchMedia('(prefers-color-scheme: dark)').matches`, &dark); dark != l.Dark {
				t.Errorf("dark: %v", dark)
			}
			shot, err := os.ReadFile(tab.Shot("tapped"))
			if err != nil || !strings.HasPrefix(string(shot), "\x89PNG") {
				t.Errorf("the picture is %.10q, %v", shot, err)
			}
		})
	}
	t.Run("without scripts", func(t *testing.T) {
		tab := look(t, Look{Width: 390, NoScript: true}, `<button style="width: 60px; height: 60px">x</button><script src="/tapped.js"></script>`)
		tab.Tap("button")
		time.Sleep(500 * time.Millisecond)
		title := ""
		if tab.Eval("document.title", &title); title != "A page" {
			t.Errorf("the script ran: %q", title)
		}
	})
}
