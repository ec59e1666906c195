// Package about tells what this program is: its build, what it is made of and under which
// licences, and its configuration without what could be a secret.
package about

import (
	"cmp"
	"regexp"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
)

// Build is what is known of this binary.
type Build struct {
	Version  string `json:"version"`
	Revision string `json:"revision,omitempty"`
	// Time is that of the revision.
	Time     string   `json:"revision_time,omitempty"`
	Changed  bool     `json:"changed"` // it was built of more than the revision
	Go       string   `json:"go"`
	Platform string   `json:"platform"`
	Modules  []Module `json:"modules"`
}

// Module is a library that the program is made of.
type Module struct {
	Path    string `json:"path"`
	Version string `json:"version"`
	// Licence is its SPDX name, "not known" where the table has none.
	Licence string `json:"licence"`
}

// Read tells it of the running program; version is the one that was given to the linker.
func Read(version string) Build {
	b := Build{Version: version, Go: runtime.Version(), Platform: runtime.GOOS + "/" + runtime.GOARCH, Modules: []Module{}}
	b.Modules = append(b.Modules, Module{"Go standard library", strings.TrimPrefix(runtime.Version(), "go"), "BSD-3-Clause"})
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			b.Revision = s.Value
		case "vcs.time":
			b.Time = s.Value
		case "vcs.modified":
			b.Changed = s.Value == "true"
		}
	}
	for _, m := range info.Deps {
		b.Modules = append(b.Modules, Module{m.Path, m.Version, cmp.Or(licences[m.Path], "not known")})
	}
	slices.SortFunc(b.Modules[1:], func(a, b Module) int { return cmp.Compare(a.Path, b.Path) })
	return b
}

var (
	// secret is what is called one, with its value: a text of one line or many, a list, or,
	// where the quotes were forgotten, the rest of the line. A path to one is none.
	secret = regexp.MustCompile(`(?i)([\w-]*(?:password|passwd|passphrase|secret|token|api-?key|credential|private-?key)[\w-]*["']?[ \t]*=[ \t]*)` +
		`("""(?s:.*?)(?:"""|\z)|'''(?s:.*?)(?:'''|\z)|\[[^\]]*\]?|"(?:[^"\\\n]|\\.)*"?|'[^'\n]*'?|[^\s"'\[][^\r\n]*)`)
	secretFile = regexp.MustCompile(`(?i)-file["']?\s*=\s*$`)
	// address is a URL; what comes behind its host may be all that keeps others out.
	address = regexp.MustCompile(`(?i)([a-z][a-z0-9+.-]*://)([^\s"'\]},#]*)`)
)

// Redact takes out of a configuration what could be a secret: values that are called so, and
// of addresses all but the host.
func Redact(text string) string {
	text = secret.ReplaceAllStringFunc(text, func(pair string) string {
		key := secret.FindStringSubmatch(pair)[1]
		if secretFile.MatchString(key) {
			return pair
		}
		return key + `"(removed)"`
	})
	return address.ReplaceAllStringFunc(text, func(url string) string {
		parts := address.FindStringSubmatch(url)
		host := parts[2]
		removed := ""
		if i := strings.LastIndex(host, "@"); i >= 0 {
			host, removed = host[i+1:], "(removed)@"
		}
		if i := strings.IndexAny(host, "/?#"); i >= 0 && host[i:] != "/" {
			host = host[:i] + "/(removed)"
		}
		return parts[1] + removed + host
	})
}
