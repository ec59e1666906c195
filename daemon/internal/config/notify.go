package config

import (
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2/unstable"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/units"
)

// Notify says who is told of alarms, and how.
type Notify struct {
	// Second is how long a person has before their next transport is tried too, Repeat the
	// pause between reminders.
	Second, Repeat time.Duration
	Transports     []Transport
	People         []Person
	Alertmanager   Alertmanager
	Heartbeat      Heartbeat
}

// On reports whether anybody is told.
func (n *Notify) On() bool { return len(n.People) > 0 || n.Alertmanager.URL != "" }

// Transport is a way to one receiver. Which members are set depends on Kind.
type Transport struct {
	Name, Kind string // Kind is "push", "mail" or "webhook"

	Server string // of push: its address; of mail: host:port

	TopicFile, AnswersFile, TokenFile string // of push

	TLS                          bool // of mail: encrypted from the beginning
	From, To, User, PasswordFile string
	CAFile                       string

	URL, URLFile, HeaderFile, TemplateFile, ContentType string // of webhook

	line int
}

// Person is somebody who is told; see notify.Person.
type Person struct {
	Name       string
	Priorities []alarm.Priority
	After      time.Duration
	// QuietFrom and QuietTo are minutes of the day; equal where there are no quiet hours.
	QuietFrom, QuietTo int
	Units              units.System
	Via                []string
}

// Alertmanager is one that alerts are pushed to; none without a URL.
type Alertmanager struct{ URL, HeaderFile string }

// Heartbeat is a URL that is asked for while the monitor sees; none without one.
type Heartbeat struct {
	URL, URLFile string
	Every        time.Duration
}

// kinds are the kinds of transports.
func kinds() []string { return []string{"push", "mail", "webhook"} }

// notify reads who is told. Without a person and an alertmanager nobody is.
func notify(t *table, system units.System) Notify {
	n := Notify{
		Second: quantity(t, "second-transport", units.ParseDuration, span{"5 min", "30 s", "60 min"}).value,
		Repeat: quantity(t, "repeat", units.ParseDuration, span{"10 min", "2 min", "2 h"}).value,
	}
	before := len(t.list)
	for _, one := range t.many("transport") {
		n.Transports = append(n.Transports, transport(one))
	}
	for i, a := range n.Transports {
		if j := slices.IndexFunc(n.Transports, func(b Transport) bool { return a.Name != "" && a.Name == b.Name }); j >= 0 && j < i {
			t.at(a.line, "notify.transport.name %q is given twice, the first on line %d; each transport has its own", a.Name, n.Transports[j].line)
		}
	}
	people := t.many("person")
	sound := len(t.list) == before
	for i, one := range people {
		n.People = append(n.People, person(one, i, system, n.Transports, sound))
		if j := slices.IndexFunc(n.People, func(p Person) bool { return p.Name == n.People[i].Name }); j < i && n.People[i].Name != "" {
			t.at(one.line, "notify.person.name %q is given twice; each person has their own", n.People[i].Name)
		}
	}
	hears := func(p Person) bool { return slices.Contains(p.Priorities, alarm.High) }
	if len(n.People) > 0 && len(t.list) == before && !slices.ContainsFunc(n.People, hears) {
		t.at(people[0].line, "notify.person: nobody takes alarms of high priority; those are the ones that kill, let somebody take them")
	}
	n.Alertmanager = alertmanager(t.table("alertmanager"))
	n.Heartbeat = heartbeat(t.table("heartbeat"))
	t.done()
	return n
}

// many returns the tables of a list of tables.
func (t *table) many(key string) []*table {
	n := t.take(key)
	if n == nil {
		return nil
	}
	if n.kind != unstable.ArrayTable && n.kind != unstable.Array {
		t.at(n.line, "%s is %s; write [[%s]] in two brackets before each", t.name(key), n.what(), t.name(key))
		return nil
	}
	var all []*table
	for _, item := range n.items {
		if !item.table() {
			t.at(item.line, "%s has %s in it; write [[%s]] before each", t.name(key), item.what(), t.name(key))
			continue
		}
		all = append(all, newTable(t.problems, t.name(key), item))
	}
	return all
}

// texts reads a list of texts.
func (t *table) texts(key, example string, fallback []string, check func(string) error) []string {
	n := t.take(key)
	switch {
	case n == nil && fallback != nil:
		return fallback
	case n == nil:
		t.at(t.line, "%s is missing; it is a list like %s", t.name(key), example)
		return nil
	case n.kind != unstable.Array || len(n.items) == 0:
		t.at(n.line, "%s is %s; it is a list like %s", t.name(key), n.what(), example)
		return nil
	}
	var all []string
	for _, item := range n.items {
		err := error(nil)
		switch {
		case item.kind != unstable.String:
			err = fmt.Errorf("%s is no text in quotes", item.what())
		case slices.Contains(all, item.text):
			err = fmt.Errorf("%q is there twice", item.text)
		default:
			err = check(item.text)
		}
		if err != nil {
			t.at(item.line, "%s: %v", t.name(key), err)
			continue
		}
		all = append(all, item.text)
	}
	return all
}

// needed reads a text that has no default.
func (t *table) needed(key, example string, check func(string) error) string {
	if t.keys.keys[key] == nil {
		t.at(t.line, "%s is missing; it is like %q", t.name(key), example)
	}
	return t.text(key, "", check).value
}

var shortName = regexp.MustCompile(`^[a-z0-9-]{1,32}$`)

func shortly(s string) error {
	if !shortName.MatchString(s) {
		return fmt.Errorf("%q is no name; it is 1 to 32 of a-z, 0-9 and -", s)
	}
	return nil
}

func transport(t *table) Transport {
	x := Transport{line: t.line, Name: t.needed("name", "owner-phone", shortly), Kind: t.required("kind", kinds()).value}
	switch x.Kind {
	case "push":
		x.Server = t.needed("server", "https://push.example", serverAlone)
		x.TopicFile = t.needed("topic-file", "/etc/fluewright/topic", file)
		x.AnswersFile = t.text("acknowledge-topic-file", "", file).value
		x.TokenFile = t.text("token-file", "", file).value
	case "mail":
		x.Server = t.needed("server", "mail.example:587", mailServer)
		x.TLS = t.choice("security", "starttls", []string{"starttls", "tls"}).value == "tls"
		x.From = t.needed("from", "furnace@house.example", mailAddress)
		x.To = t.needed("to", "owner@house.example", mailAddress)
		x.User = t.text("user", "", plain).value
		t.refuse("password", "a password has no place in the configuration; put it into a file that only the service can read, and give the path of that as password-file")
		x.PasswordFile = t.text("password-file", "", file).value
		x.CAFile = t.text("ca-file", "", file).value
		if (x.User == "") != (x.PasswordFile == "") {
			t.at(t.line, "notify.transport: user and password-file go together; give both, or none for a server that asks for neither")
		}
	case "webhook":
		x.URL, x.URLFile = t.place()
		x.HeaderFile = t.text("header-file", "", file).value
		x.TemplateFile = t.text("template-file", "", file).value
		x.ContentType = t.text("content-type", "application/json", plain).value
	default:
		return x // its keys are not known
	}
	t.done()
	return x
}

// place reads an address, or the file that holds it where it is a secret.
func (t *table) place() (address, inFile string) {
	address = t.text("url", "", webAddress).value
	inFile = t.text("url-file", "", file).value
	switch given := t.keys.keys; {
	case given["url"] == nil && given["url-file"] == nil:
		t.at(t.line, "%s is missing; it is like \"https://house.example/hook\", or url-file names a file that holds it", t.name("url"))
	case given["url"] != nil && given["url-file"] != nil:
		t.at(given["url"].line, "%s and url-file exclude each other; keep one", t.name("url"))
	}
	return address, inFile
}

func person(t *table, index int, system units.System, transports []Transport, sound bool) Person {
	p := Person{Name: t.needed("name", "owner", shortly), Units: system}
	priorities := t.texts("priorities", `["high", "medium"]`, []string{"high", "medium", "low"}, func(s string) error {
		if priorityCalled(s) == 0 {
			return fmt.Errorf("%q is unknown; %s", s, oneOf([]string{"high", "medium", "low"}))
		}
		return nil
	})
	for _, s := range priorities {
		p.Priorities = append(p.Priorities, priorityCalled(s))
	}
	p.After = quantity(t, "after", units.ParseDuration, span{fmt.Sprintf("%d min", 15*index), "0 s", "24 h"}).value
	t.text("quiet", "", func(s string) (err error) {
		p.QuietFrom, p.QuietTo, err = quietHours(s)
		return err
	})
	t.text("units", system.String(), func(s string) error { return p.Units.UnmarshalText([]byte(s)) })
	p.Via = t.texts("via", `["owner-phone", "owner-mail"]`, nil, func(s string) error {
		if sound && !slices.ContainsFunc(transports, func(x Transport) bool { return x.Name == s }) {
			return fmt.Errorf("there is no transport %q; it is the name of a [[notify.transport]]", s)
		}
		return nil
	})
	t.done()
	return p
}

func priorityCalled(s string) alarm.Priority {
	for p := alarm.Low; p <= alarm.High; p++ {
		if p.String() == s {
			return p
		}
	}
	return 0
}

var quietForm = regexp.MustCompile(`^([01][0-9]|2[0-3]):([0-5][0-9])-([01][0-9]|2[0-3]):([0-5][0-9])$`)

// quietHours reads "22:00-06:30" as minutes of the day.
func quietHours(s string) (from, to int, err error) {
	m := quietForm.FindStringSubmatch(s)
	if m == nil {
		return 0, 0, fmt.Errorf("%q are no hours of the day; they are like \"22:00-06:30\"", s)
	}
	at := func(i int) int {
		h, _ := strconv.Atoi(m[i])
		minute, _ := strconv.Atoi(m[i+1])
		return 60*h + minute
	}
	if from, to = at(1), at(3); from == to {
		return 0, 0, fmt.Errorf("%q begins where it ends; leave it out for no quiet hours", s)
	}
	return from, to, nil
}

func alertmanager(t *table) Alertmanager {
	a := Alertmanager{URL: t.text("url", "", webAddress).value, HeaderFile: t.text("header-file", "", file).value}
	if n := t.keys.keys["header-file"]; n != nil && t.keys.keys["url"] == nil {
		t.at(n.line, "notify.alertmanager.header-file without url; give the address too, or leave this out")
	}
	t.done()
	return a
}

func heartbeat(t *table) Heartbeat {
	h := Heartbeat{Every: quantity(t, "every", units.ParseDuration, span{"5 min", "30 s", "24 h"}).value}
	if t.keys.keys["url"] != nil || t.keys.keys["url-file"] != nil {
		h.URL, h.URLFile = t.place()
	} else {
		t.take("url")
		t.take("url-file")
	}
	t.done()
	return h
}

// webAddress checks the address of something on the web. It is not repeated: it may hold a
// secret.
func webAddress(s string) error {
	u, err := url.Parse(s)
	if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Hostname() == "" || u.User != nil || u.Fragment != "" || !printable(s) || strings.Contains(s, " ") {
		return errors.New("this is no address; it is like \"https://house.example/hook\", with no user in it")
	}
	return nil
}

// serverAlone checks the address of a server without a path.
func serverAlone(s string) error {
	if err := webAddress(s); err != nil {
		return err
	}
	if u, err := url.Parse(s); err != nil || u.Path != "" && u.Path != "/" || u.RawQuery != "" {
		return errors.New("this has a path; the server's address alone is wanted, like \"https://push.example\"")
	}
	return nil
}

func mailServer(s string) error {
	host, p, err := net.SplitHostPort(s)
	if err != nil || host == "" || !port(p, 1) || !printable(s) {
		return fmt.Errorf("%q is no mail server; it is like \"mail.example:587\", or with port 465 and security \"tls\"", s)
	}
	return nil
}

func mailAddress(s string) error {
	if _, err := mail.ParseAddress(s); err != nil || !printable(s) {
		return fmt.Errorf("%q is no mail address; it is like \"owner@house.example\"", s)
	}
	return nil
}
