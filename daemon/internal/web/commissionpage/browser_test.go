package commissionpage_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/web/browsertest"
)

// fill types into the page's form.
func fill(tab *browsertest.Tab, form map[string][]string) {
	text, _ := json.Marshal(form) // strings can be
	tab.Eval(fmt.Sprintf(`(() => {
		const form = document.querySelector('form.kept');
		for (const [name, [value]] of Object.entries(%s)) {
			const field = form.elements.namedItem(name);
			if (!field || field.type === 'hidden') continue;
			if (field instanceof RadioNodeList) [...field].find((f) => f.value === value).click(); else field.value = value;
		}
		form.dispatchEvent(new Event('input', { bubbles: true }));
	})()`, text), nil)
}

// button is the one that goes on.
const button = `.task button.main`

var houses = flag.Bool("houses", false, "commission all four houses on the telephone, not two")

// The whole procedure by taps on a telephone, in time-lapse, with the virtual installer's
// hands; on the way the phone is dropped within a form, and the program is restarted within
// a measurement.
func TestOnATelephone(t *testing.T) {
	for _, house := range []struct {
		name, result string
		tasks        int // at least
	}{
		{"tall", "Result: pass", 20},
		{"short", "Result: pass with cautions", 20},
		{"altitude", "Result: pass at corrected mark: from 1 to ", 20},
		{"blocked", "Result: stop", 5},
	} {
		t.Run(house.name, func(t *testing.T) {
			if !*houses && house.name != "altitude" && house.name != "blocked" {
				t.Skip("all four take minutes: with -houses; the same answers go through the handlers")
			}
			onATelephone(t, house.name, house.result, house.tasks)
		})
	}
}

func onATelephone(t *testing.T, house, result string, tasks int) {
	browser := browsertest.Start(t)
	b := newBench(t, house, units.US)
	server := httptest.NewServer(b)
	defer server.Close()
	dark := browsertest.Look{Width: 390, Dark: true}
	tab := browser.Tab(t, dark)
	address := server.URL + "/commissioning"
	tab.Open(address)
	tab.Check("commission-begin")
	tab.Loading(func() { tab.Tap("button.main") })
	b.player.Frames(time.Minute)
	shots, at := 0, commissioning.Steps
	for n := range 60 {
		v := b.view()
		if v.Task == commissioning.Done || v.Task == commissioning.Failed {
			break
		}
		name := fmt.Sprintf("commission-%02d-%s", n, v.Task)
		if got := tab.Text("main h1"); !strings.HasSuffix(got, v.Title) {
			t.Fatalf("the page is at %q, and asked is %q", got, v.Title)
		}
		if got := tab.Text(".do"); got != v.Do {
			t.Fatalf("the page asks %q and not %q", got, v.Do)
		}
		if shots++; v.Now != at || v.Asks == "give" {
			tab.Check(name)
		} else {
			tab.Fits(name) // it is made as the one before
		}
		at = v.Now
		lit := v.Task == commissioning.LightFire
		if !lit {
			b.hands()
		}
		switch v.Asks {
		case "give":
			if v.Task == commissioning.LookAround {
				// The browser is gone and comes back: what was typed is there.
				fill(tab, map[string][]string{"manual": {"y"}, "clearances": {"y"}})
				tab.Open(address)
				tab.Until(`document.querySelectorAll(':checked').length === 2`, 5*time.Second)
				tab.Loading(func() { tab.Tap(button) })
				if said := strings.Join(tab.Said(), "\n"); !strings.Contains(said, "422") { // which the browser complains of
					t.Errorf("%s", said)
				}
				tab.Check(name + "-refused")
			}
			fill(tab, b.filled(v.Task))
			tab.Loading(func() { tab.Tap(button) })
			continue
		case "ready":
			tab.Loading(func() { tab.Tap(button) })
		default:
			t.Fatalf("%s: %+v", v.Task, v.Steps[v.Now])
		}
		if lit {
			b.hands()
		}
		b.measure(100 * time.Second)
		if v.Task == commissioning.LightFire || v.Task == commissioning.ReadMark && slices.IndexFunc(b.view().Pictures, func(p commission.Picture) bool { return p.Name == commission.FitPicture }) >= 0 {
			b.measure(10 * time.Minute)
			if b.view().Running {
				tab.Until(`document.querySelector('.picture')?.complete`, 5*time.Second)
				tab.Check(name + "-running")
			}
		}
		if v.Task == commissioning.VerifyLow && b.view().Running {
			tab.Check(name + "-running")
			b.restart()
			b.player.Frames(time.Minute)
		}
		b.measure(3 * time.Hour)
		// The page goes on by itself.
		do, _ := json.Marshal(b.view().Do)
		tab.Until(`document.readyState === 'complete' && document.querySelector('.do').innerText === `+string(do), 10*time.Second)
	}
	if shots < tasks {
		t.Errorf("only %d tasks were seen", shots)
	}
	if b.view().Task == commissioning.Failed {
		tab.Check("commission-failed")
		tab.Tap(`details:has(form[action="/commissioning/close"]) summary`)
		tab.Loading(func() { tab.Tap(`form[action="/commissioning/close"] button`) })
	} else {
		tab.Until(`document.querySelector('h1').innerText === 'Commissioning is over'`, 5*time.Second)
		tab.Check("commission-over")
		tab.Loading(func() { tab.Tap(button) })
	}
	tab.Check("commission-report")
	if got := tab.Text(".verdict"); !strings.HasPrefix(got, result) {
		t.Errorf("%q", got)
	}
	tab.Open(address)
	tab.Check("commission-after")
}

// What stops, at a desk and on a telephone, by day; and without scripts.
func TestHowItLooks(t *testing.T) {
	browser := browsertest.Start(t)
	b := begun(t, "blocked", units.US)
	server := httptest.NewServer(b)
	defer server.Close()
	b.answered()
	b.answered()
	look := func(name string, looks ...browsertest.Look) {
		for _, l := range looks {
			tab := browser.Tab(t, l)
			tab.Open(server.URL + "/commissioning")
			tab.Check("commission-" + name)
		}
	}
	b.hands()
	b.answered()
	b.player.Frames(20 * time.Second)
	look("zero", browsertest.Looks...)
	plain := browser.Tab(t, browsertest.Look{Width: 390, NoScript: true}) // it loads itself again meanwhile
	plain.Open(server.URL + "/commissioning")
	plain.Shot("commission-zero")
	b.measure(time.Hour)
	for b.view().Task != commissioning.Failed {
		b.hands()
		b.answered()
		b.measure(time.Hour)
	}
	look("stopped", browsertest.Looks...)
	tab := browser.Tab(t, browsertest.Look{Width: 390})
	tab.Open(server.URL + "/commissioning")
	server.CloseClientConnections()
	server.Listener.Close()
	tab.Until(`document.body.classList.contains('is-old')`, 10*time.Second)
	tab.Shot("commission-old")
}
