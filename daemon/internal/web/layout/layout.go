// Package layout is what all pages have in common: the frame around them, the way from one
// to the next, style sheets, and how a page is answered.
package layout

import (
	"bytes"
	"embed"
	"fmt"
	"hash/fnv"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"path"
	"strings"

	"fluewright/daemon/internal/access"
)

//go:embed layout.html
var frame embed.FS

//go:embed assets
var assets embed.FS

// Options is what stands on every page.
type Options struct {
	Site    string
	Version string
	// Notice stands at the top, "Demonstration: a simulated furnace."
	Notice string
	// Files are folders of style sheets and scripts that pages bring. A name is given once.
	Files []fs.FS
	Log   *slog.Logger
}

// Shell is the frame of every page.
type Shell struct {
	o     Options
	files map[string]file
}

type file struct {
	content []byte
	version string
}

// New reads the files. It fails only where two have one name.
func New(o Options) (*Shell, error) {
	s := &Shell{o: o, files: map[string]file{}}
	for _, folder := range append([]fs.FS{assets}, o.Files...) {
		err := fs.WalkDir(folder, ".", func(p string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			b, err := fs.ReadFile(folder, p)
			if err != nil {
				return err
			}
			name := path.Base(p)
			if _, twice := s.files[name]; twice {
				return fmt.Errorf("there are two files %q", name)
			}
			sum := fnv.New64a()
			_, _ = sum.Write(b) // a hash takes everything
			s.files[name] = file{b, fmt.Sprintf("%x", sum.Sum64())}
			return nil
		})
		if err != nil {
			return nil, fmt.Errorf("read the pages' files: %w", err)
		}
	}
	return s, nil
}

// asset is the address of a file with its version, so that it may be kept for ever.
func (s *Shell) asset(name string) (string, error) {
	f, ok := s.files[name]
	if !ok {
		return "", fmt.Errorf("there is no file %q", name)
	}
	return "/static/" + name + "?v=" + f.version, nil
}

// ServeFile answers /static/{name}.
func (s *Shell) ServeFile(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	f, ok := s.files[name]
	if !ok {
		http.NotFound(w, r)
		return
	}
	h := w.Header()
	h.Set("Content-Type", types[path.Ext(name)])
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(f.content) // whoever asked may have gone
}

var types = map[string]string{
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
}

// Template is a page's own part within the frame.
type Template struct {
	shell *Shell
	t     *template.Template
}

// Parse reads a page's files; together they define "main". It panics where they are wrong:
// they are compiled in.
func (s *Shell) Parse(files fs.FS, patterns ...string) *Template {
	t := template.New("").Funcs(template.FuncMap{"asset": s.asset})
	template.Must(t.ParseFS(frame, "layout.html"))
	return &Template{s, template.Must(t.ParseFS(files, patterns...))}
}

// Page is one answer.
type Page struct {
	Title string
	// AsOf is the time that the page is of, a few words.
	AsOf string
	// Reload is after how many seconds a browser without scripts loads the page again; 0: never.
	Reload          int
	Styles, Scripts []string // names of files
	Data            any      // for "main"
}

// link is an entry of the way from page to page.
type link struct {
	Name, Path string
	Here       bool
	Way        bool // to one's account: set apart
}

// first are the pages that are wanted most, more the others: on a telephone they are one
// tap farther away.
var (
	first = []link{
		{Name: "Now", Path: "/"},
		{Name: "Trend", Path: "/trend"},
		{Name: "Alarms", Path: "/alarms"},
		{Name: "Burns", Path: "/burns"},
	}
	more = []link{
		{Name: "Sensors", Path: "/sensors"},
		{Name: "Upkeep", Path: "/upkeep"},
		{Name: "Notes", Path: "/notes"},
		{Name: "Commissioning", Path: "/commissioning"},
		{Name: "About", Path: "/about"},
	}
)

type view struct {
	Page
	Site, Version, Notice string
	Person                access.Person
	// Classes are those by which the style sheet hides what this person may not do. The
	// server refuses it in any case.
	Classes     string
	First, More []link
	// Elsewhere is the page of More that this is.
	Elsewhere string
}

// classes are those of rights, in a fixed order so that a page keeps its bytes.
var classes = []struct {
	right access.Right
	class string
}{
	{access.Acknowledge, "may-acknowledge"},
	{access.Log, "may-log"},
	{access.Commission, "may-commission"},
	{access.Manage, "may-manage"},
}

func (s *Shell) view(r *http.Request, p Page) view {
	who := access.Of(r.Context())
	v := view{Page: p, Site: s.o.Site, Version: s.o.Version, Notice: s.o.Notice, Person: who}
	var all []string
	for _, c := range classes {
		if who.Role.May(c.right) {
			all = append(all, c.class)
		}
	}
	if who.Role != access.Nobody {
		all = append(all, "signed-in")
	}
	v.Classes = strings.Join(all, " ")
	v.First, _ = at(r.URL.Path, first)
	v.More, v.Elsewhere = at(r.URL.Path, more)
	v.More = append(v.More, wayIn(r, who))
	return v
}

// wayIn leads to one's account, or to sign in and back.
func wayIn(r *http.Request, who access.Person) link {
	here := r.URL.Path
	if who.Name != "" {
		return link{Name: "Account", Path: "/account", Here: here == "/account" || here == "/people", Way: true}
	}
	way := link{Name: "Sign in", Path: access.SignInPath, Here: here == access.SignInPath || here == access.SetUpPath, Way: true}
	if !way.Here && here != "/" {
		way.Path += "?next=" + url.QueryEscape(access.Local(r.URL.RequestURI()))
	}
	return way
}

// at marks the entry that leads to where one is, and names it.
func at(path string, links []link) (marked []link, here string) {
	for _, l := range links {
		if l.Here = path == l.Path || l.Path != "/" && strings.HasPrefix(path, l.Path+"/"); l.Here {
			here = l.Name
		}
		marked = append(marked, l)
	}
	return marked, here
}

// Serve answers with the whole page.
func (t *Template) Serve(w http.ResponseWriter, r *http.Request, code int, p Page) {
	var b bytes.Buffer
	if err := t.t.ExecuteTemplate(&b, "page", t.shell.view(r, p)); err != nil {
		t.shell.o.Log.Error("cannot render a page", "path", r.URL.Path, "error", err)
		http.Error(w, "The page cannot be made. Watch the furnace yourself.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_, _ = b.WriteTo(w) // whoever asked may have gone
}

// Part renders one of the page's templates alone.
func (t *Template) Part(name string, data any) ([]byte, error) {
	var b bytes.Buffer
	if err := t.t.ExecuteTemplate(&b, name, data); err != nil {
		return nil, fmt.Errorf("render a page's part: %w", err)
	}
	return b.Bytes(), nil
}
