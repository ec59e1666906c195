package browsertest

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"
)

// Look is how a page is looked at.
type Look struct {
	Width  int // CSS px; under 600 it is a telephone with a touch screen
	Height int // 0: 844 on a telephone, else 900
	Dark   bool
	Print  bool // as on paper
	// NoScript leaves the page's scripts out.
	NoScript bool
}

// Looks are those that every page must stand: a telephone and a desk, light and dark.
var Looks = []Look{{Width: 390}, {Width: 390, Dark: true}, {Width: 1280}, {Width: 1280, Dark: true}}

// String names the look as files are named: "390-dark".
func (l Look) String() string {
	s := fmt.Sprintf("%d", l.Width)
	if l.Dark {
		s += "-dark"
	} else {
		s += "-light"
	}
	if l.Print {
		s += "-print"
	}
	if l.NoScript {
		s += "-noscript"
	}
	return s
}

// Tab is one page of a browser. Its methods end the test where the browser fails.
type Tab struct {
	t       testing.TB
	b       *Browser
	session string
	look    Look

	mu     sync.Mutex
	loaded chan struct{}
	said   []string
}

// Tab opens an empty page that ends with its test t.
func (b *Browser) Tab(t testing.TB, look Look) *Tab {
	t.Helper()
	if look.Height == 0 {
		look.Height = 900
		if look.phone() {
			look.Height = 844
		}
	}
	tab := &Tab{t: t, b: b, look: look}
	// A context of its own: cookies of other tabs are not its.
	var c struct{ BrowserContextID string }
	tab.must(b.send("", "Target.createBrowserContext", nil, &c))
	var target struct{ TargetID string }
	tab.must(b.send("", "Target.createTarget", map[string]any{"url": "about:blank", "browserContextId": c.BrowserContextID}, &target))
	var session struct{ SessionID string }
	tab.must(b.send("", "Target.attachToTarget", map[string]any{"targetId": target.TargetID, "flatten": true}, &session))
	tab.session = session.SessionID
	b.mu.Lock()
	b.tabs[tab.session] = tab
	b.mu.Unlock()
	t.Cleanup(func() {
		b.mu.Lock()
		delete(b.tabs, tab.session)
		b.mu.Unlock()
		_ = b.send("", "Target.disposeBrowserContext", map[string]any{"browserContextId": c.BrowserContextID}, nil)
	})
	for _, domain := range []string{"Page", "Runtime", "Log", "Network"} {
		tab.Call(domain+".enable", nil, nil)
	}
	tab.Call("Emulation.setDeviceMetricsOverride", map[string]any{
		"width": look.Width, "height": look.Height, "deviceScaleFactor": 1, "mobile": look.phone(),
	}, nil)
	if look.phone() {
		tab.Call("Emulation.setTouchEmulationEnabled", map[string]any{"enabled": true, "maxTouchPoints": 2}, nil)
	}
	scheme, media := "light", ""
	if look.Dark {
		scheme = "dark"
	}
	if look.Print {
		media = "print"
	}
	tab.Call("Emulation.setEmulatedMedia", map[string]any{"media": media, "features": []map[string]string{
		{"name": "prefers-color-scheme", "value": scheme},
		{"name": "prefers-reduced-motion", "value": "reduce"},
	}}, nil)
	if look.NoScript {
		tab.Call("Emulation.setScriptExecutionDisabled", map[string]any{"value": true}, nil)
	}
	return tab
}

func (l Look) phone() bool { return l.Width < 600 }

func (tab *Tab) must(err error) {
	tab.t.Helper()
	if err != nil {
		tab.t.Fatal(err)
	}
}

// Call asks for something of the debugging protocol: a pinch, a line that is cut.
func (tab *Tab) Call(method string, params, into any) {
	tab.t.Helper()
	tab.must(tab.b.send(tab.session, method, params, into))
}

// hear takes an event.
func (tab *Tab) hear(method string, params json.RawMessage) {
	tab.mu.Lock()
	defer tab.mu.Unlock()
	switch method {
	case "Page.loadEventFired":
		if tab.loaded != nil {
			close(tab.loaded)
			tab.loaded = nil
		}
	case "Runtime.exceptionThrown", "Log.entryAdded", "Runtime.consoleAPICalled":
		tab.said = append(tab.said, fmt.Sprintf("%s %.600s", method, params))
	}
}

// Said returns what the page complained of since it was asked last: scripts that failed,
// things that could not be fetched, what the policy forbade.
func (tab *Tab) Said() []string {
	tab.mu.Lock()
	defer tab.mu.Unlock()
	said := tab.said
	tab.said = nil
	return said
}

// Loading does something that loads a page, and waits until that is there.
func (tab *Tab) Loading(do func()) {
	tab.t.Helper()
	loaded := make(chan struct{})
	tab.mu.Lock()
	tab.loaded = loaded
	tab.mu.Unlock()
	do()
	select {
	case <-loaded:
	case <-time.After(patience):
		tab.t.Fatal("the page does not load")
	}
}

// Open goes to an address and waits until the page is there.
func (tab *Tab) Open(url string) {
	tab.t.Helper()
	tab.Loading(func() {
		var answer struct{ ErrorText string }
		tab.Call("Page.navigate", map[string]any{"url": url}, &answer)
		if answer.ErrorText != "" {
			tab.t.Fatalf("open %s: %s", url, answer.ErrorText)
		}
	})
}

// Eval evaluates an expression of JavaScript in the page, waits for it if it is a promise,
// and reads its value into into, unless that is nil.
func (tab *Tab) Eval(expression string, into any) {
	tab.t.Helper()
	tab.must(tab.eval(expression, into))
}

func (tab *Tab) eval(expression string, into any) error {
	var answer struct {
		Result           struct{ Value json.RawMessage }
		ExceptionDetails *struct {
			Text      string
			Exception struct{ Description string }
		}
	}
	err := tab.b.send(tab.session, "Runtime.evaluate", map[string]any{
		"expression": expression, "returnByValue": true, "awaitPromise": true,
	}, &answer)
	switch {
	case err != nil:
		return err
	case answer.ExceptionDetails != nil:
		return fmt.Errorf("%.80s: %s %s", expression, answer.ExceptionDetails.Text, answer.ExceptionDetails.Exception.Description)
	case into == nil || answer.Result.Value == nil:
		return nil
	}
	return json.Unmarshal(answer.Result.Value, into)
}

// Until waits until a condition in JavaScript holds, and returns how long that took.
func (tab *Tab) Until(condition string, within time.Duration) time.Duration {
	tab.t.Helper()
	began := time.Now()
	for {
		var holds bool
		// While a page loads there is none to ask.
		if err := tab.eval("!!("+condition+")", &holds); err == nil && holds {
			return time.Since(began)
		}
		if time.Since(began) > within {
			var text string
			_ = tab.eval("document.body.innerText", &text)
			tab.t.Fatalf("%s does not hold after %v; the page says:\n%s", condition, within, text)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// Text is what an element, chosen as a style sheet does, shows.
func (tab *Tab) Text(selector string) (text string) {
	tab.t.Helper()
	tab.Eval("document.querySelector("+quote(selector)+")?.innerText ?? ''", &text)
	return text
}

// Tap touches the middle of an element, or clicks it on a desk, wherever that is: what
// covers it gets it.
func (tab *Tab) Tap(selector string) {
	tab.t.Helper()
	var at struct{ X, Y float64 }
	tab.Eval(`(() => {
		const e = document.querySelector(`+quote(selector)+`);
		if (!e) throw new Error('there is none');
		e.scrollIntoView({block: 'center', behavior: 'instant'});
		const r = e.getBoundingClientRect();
		return {x: r.x + r.width / 2, y: r.y + r.height / 2};
	})()`, &at)
	if tab.look.phone() {
		tab.Call("Input.dispatchTouchEvent", map[string]any{"type": "touchStart", "touchPoints": []map[string]float64{{"x": at.X, "y": at.Y}}}, nil)
		tab.Call("Input.dispatchTouchEvent", map[string]any{"type": "touchEnd", "touchPoints": []any{}}, nil)
		return
	}
	for _, kind := range []string{"mousePressed", "mouseReleased"} {
		tab.Call("Input.dispatchMouseEvent", map[string]any{"type": kind, "x": at.X, "y": at.Y, "button": "left", "clickCount": 1}, nil)
	}
}

// Key presses a key: "Tab", "Enter", "ArrowLeft", "+".
func (tab *Tab) Key(key string) {
	tab.t.Helper()
	codes := map[string]int{"Tab": 9, "Enter": 13, "Escape": 27, "ArrowLeft": 37, "ArrowUp": 38, "ArrowRight": 39, "ArrowDown": 40, "Home": 36, "End": 35}
	down := map[string]any{"type": "keyDown", "key": key, "windowsVirtualKeyCode": codes[key]}
	switch {
	case key == "Enter":
		down["text"] = "\r"
	case codes[key] == 0:
		down["text"] = key
	}
	tab.Call("Input.dispatchKeyEvent", down, nil)
	tab.Call("Input.dispatchKeyEvent", map[string]any{"type": "keyUp", "key": key, "windowsVirtualKeyCode": codes[key]}, nil)
}

// Shot keeps a picture of the whole page among the test's artifacts (go test -artifacts
// -outputdir DIR), as name and look call it, and returns its path.
func (tab *Tab) Shot(name string) string {
	tab.t.Helper()
	var size struct {
		CSSContentSize struct{ Width, Height float64 }
	}
	tab.Call("Page.getLayoutMetrics", nil, &size)
	var shot struct{ Data string }
	tab.Call("Page.captureScreenshot", map[string]any{"format": "png", "captureBeyondViewport": true, "clip": map[string]float64{
		"x": 0, "y": 0, "width": float64(tab.look.Width), "height": max(size.CSSContentSize.Height, float64(tab.look.Height)), "scale": 1,
	}}, &shot)
	png, err := base64.StdEncoding.DecodeString(shot.Data)
	tab.must(err)
	path := filepath.Join(tab.t.ArtifactDir(), fmt.Sprintf("%s-%s.png", name, tab.look))
	tab.must(os.WriteFile(path, png, 0o600))
	return path
}

// quote makes a string of JavaScript.
func quote(s string) string {
	b, _ := json.Marshal(s) // a string can be
	return string(b)
}
