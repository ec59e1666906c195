package browsertest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Check is Fits, and reports what is not accessible, which takes a second.
func (tab *Tab) Check(name string) {
	tab.t.Helper()
	tab.Fits(name)
	for _, v := range tab.Violations() {
		tab.t.Errorf("%s at %s is not accessible: %s", name, tab.look, v)
	}
}

// Fits keeps a picture of the page and reports a way to scroll sideways, a target that a
// glove misses, a complaint of the browser.
func (tab *Tab) Fits(name string) {
	tab.t.Helper()
	tab.Shot(name)
	var wide []string
	tab.Eval(`(() => {
		const width = document.documentElement.clientWidth;
		if (document.documentElement.scrollWidth <= width) return [];
		return [...document.body.querySelectorAll('*')]
			.filter(e => e.getBoundingClientRect().right > width + 1)
			.map(e => e.tagName + '.' + e.className + ' ' + e.getBoundingClientRect().right).slice(0, 5);
	})()`, &wide)
	if len(wide) > 0 {
		tab.t.Errorf("%s at %s is wider than the screen: %s", name, tab.look, strings.Join(wide, "; "))
	}
	for _, small := range tab.smallTargets() {
		tab.t.Errorf("%s at %s has a target that a glove misses: %s", name, tab.look, small)
	}
	for _, s := range tab.Said() {
		tab.t.Errorf("%s at %s complains: %s", name, tab.look, s)
	}
}

// smallTargets are what can be tapped and is smaller than 44 px. A link within a sentence
// need not be larger than its line, as WCAG has it; nor what cannot be seen.
func (tab *Tab) smallTargets() (small []string) {
	tab.t.Helper()
	tab.Eval(`[...document.querySelectorAll('a[href], button, summary, select, textarea, input:not([type=hidden])')].filter(e => {
		if (!e.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true}) || e.classList.contains('skip')) return false;
		let box = e;
		if (/^(checkbox|radio)$/.test(e.type) && e.closest('label')) box = e.closest('label');
		const r = box.getBoundingClientRect();
		if (r.width >= 43.5 && r.height >= 43.5) return false;
		const inline = e.tagName === 'A' && getComputedStyle(e).display === 'inline' && e.closest('p, li, td, dd, small');
		return !(inline && inline.textContent.trim() !== e.textContent.trim()) && !e.closest('svg');
	}).map(e => { const r = e.getBoundingClientRect(); return e.outerHTML.slice(0, 100) + ' ' + r.width + ' × ' + r.height; })`, &small)
	return small
}

// Violations are the rules of WCAG 2.2 AA, and the best practices beside it, that axe-core
// sees the page break: what, and where.
func (tab *Tab) Violations() (found []string) {
	tab.t.Helper()
	tab.Eval(string(axe(tab)), nil)
	var all []struct {
		ID, Help string
		Nodes    []struct {
			HTML           string
			FailureSummary string
		}
	}
	tab.Eval(`axe.run(document, {resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}).then(r => r.violations)`, &all)
	for _, v := range all {
		for _, n := range v.Nodes {
			found = append(found, fmt.Sprintf("%s: %s: %.200s (%s)", v.ID, v.Help, n.HTML, strings.Join(strings.Fields(n.FailureSummary), " ")))
		}
	}
	return found
}

// axe reads the library, which .ci/node pins.
func axe(tab *Tab) []byte {
	tab.t.Helper()
	folders := filepath.SplitList(os.Getenv("NODE_PATH"))
	dir, err := os.Getwd()
	for ; err == nil; dir = filepath.Dir(dir) {
		folders = append(folders, filepath.Join(dir, ".ci/node/node_modules"))
		if dir == filepath.Dir(dir) {
			break
		}
	}
	for _, folder := range folders {
		if b, err := os.ReadFile(filepath.Join(folder, "axe-core/axe.min.js")); err == nil {
			return b
		}
	}
	if os.Getenv("FLUEWRIGHT_REAL") == "1" {
		tab.t.Fatal("axe-core is not installed: npm --prefix .ci/node ci")
	}
	tab.t.Skip("axe-core is not installed: npm --prefix .ci/node ci")
	return nil
}
