package broker

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// topics are all there are of up to three levels out of two.
func topics() (all []string) {
	levels := []string{"a", "b"}
	for _, x := range levels {
		all = append(all, x)
		for _, y := range levels {
			all = append(all, x+"/"+y)
			for _, z := range levels {
				all = append(all, x+"/"+y+"/"+z)
			}
		}
	}
	return all
}

// covers is the specification's rule (MQTT 3.1.1, section 4.7.1), written a second time.
func covers(filter, topic []string) bool {
	switch {
	case len(filter) == 1 && filter[0] == "#":
		return true
	case len(topic) == 0 || len(filter) == 0:
		return len(topic) == len(filter)
	case filter[0] != "+" && filter[0] != topic[0]:
		return false
	}
	return covers(filter[1:], topic[1:])
}

func TestOverlap(t *testing.T) {
	filter := rapid.Custom(func(t *rapid.T) string {
		levels := rapid.SliceOfN(rapid.SampledFrom([]string{"a", "b", "+"}), 1, 3).Draw(t, "levels")
		if len(levels) < 3 && rapid.Bool().Draw(t, "below") {
			levels = append(levels, "#")
		}
		return strings.Join(levels, "/")
	})
	of := func(filter string) (matched []string) {
		for _, topic := range topics() {
			if covers(strings.Split(filter, "/"), strings.Split(topic, "/")) {
				matched = append(matched, topic)
			}
		}
		return matched
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := filter.Draw(t, "a"), filter.Draw(t, "b")
		want := slices.ContainsFunc(of(a), func(topic string) bool { return slices.Contains(of(b), topic) })
		if overlap(a, b) != want || overlap(b, a) != want {
			t.Errorf("%s and %s: %v and %v, want %v", a, b, overlap(a, b), overlap(b, a), want)
		}
		for _, topic := range topics() {
			if got, want := overlap(a, topic), slices.Contains(of(a), topic); got != want {
				t.Errorf("%s matches %s: %v, want %v", a, topic, got, want)
			}
		}
	})
	if !overlap("#", "x") || overlap("", "a") || !overlap("", "") || overlap("a/", "a") || !overlap("a/#", "a") {
		t.Error("the ends are wrong")
	}
}

// FuzzAccess: whatever a guest names, it writes commands of its site alone, and reads none.
func FuzzAccess(f *testing.F) {
	for _, topic := range []string{
		"fluewright/cellar-7/command/acknowledge", "fluewright/cellar-7/alarm/overheat/flue", "fluewright/cellar-7/command/#",
		"fluewright/+/command/+", "$SYS/#", "$share/g/fluewright/#", "fluewright/cellar-7/reply/phone/1", "fluewright/cellar-7/reply/#", "", "/", "#",
	} {
		f.Add(topic, "phone")
	}
	a := newAccess(&Options{Root: "fluewright/cellar-7/", Users: []User{
		{Name: "owner", Read: []string{"#"}, Write: []string{"command/+"}},
		{Name: "display", Read: []string{"alarm/#"}, Write: []string{}},
	}}, "x", nil, nil)
	f.Fuzz(func(t *testing.T, topic, client string) {
		for name, g := range a.users {
			if a.mayWrite(g, topic) {
				rest, command := strings.CutPrefix(topic, "fluewright/cellar-7/command/")
				if !command || rest == "" || strings.ContainsAny(rest, "/#+") || name == "display" {
					t.Errorf("%s writes %q", name, topic)
				}
			}
			if !a.mayRead(g, topic, client) {
				continue
			}
			rest, own := strings.CutPrefix(topic, "fluewright/cellar-7/")
			switch {
			case strings.HasPrefix(topic, "$"), own && strings.HasPrefix(rest, "command/"):
				t.Errorf("%s reads %q", name, topic)
			case own && strings.HasPrefix(rest, "reply/") && strings.Split(rest, "/")[1] != client && strings.Split(rest, "/")[1] != "unaddressed":
				t.Errorf("%s reads the reply %q as %q", name, topic, client)
			case name == "display" && !strings.ContainsAny(topic, "#+") && topic != "fluewright/cellar-7/alarm" && !strings.HasPrefix(rest, "alarm/"):
				t.Errorf("%s reads %q", name, topic)
			}
		}
	})
}
