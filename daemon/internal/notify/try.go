package notify

import (
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// TestMessage is what somebody is sent to see whether it arrives.
func TestMessage(site string, p Person, transport string, now time.Time, id string) Message {
	return Message{
		ID: name(site, "test", id, transport), Kind: Test, Site: site, Person: p.Name, Transport: transport, Units: p.Units,
		Priority: alarm.Medium, At: now, Trusted: true,
	}
}

// sample is a letter with everything in it, and signs that need care in any format.
func sample() Letter {
	at := time.Date(2026, time.January, 17, 3, 12, 0, 0, time.UTC)
	line := Line{
		Key: alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, Occurrence: 3, Priority: alarm.High, First: true,
		State: "raised", Since: at, Times: 1,
		Text: Text{What: "flue: \"too hot\" (1200 °F,\nlimit 1000 °F)", Action: "Keep the doors shut & <do not> open them\\."},
	}
	ended := line
	ended.Key, ended.State, ended.Until = alarm.Key{Name: alarm.Spillage, Channel: frame.Count}, "over", at.Add(time.Hour)
	return Write(Message{
		ID: "cellar-overheat-flue-3-raised-0", Kind: Alarm, Site: "cellar", Person: "owner", Transport: "phone",
		Priority: alarm.High, At: at.Add(time.Minute), Trusted: true, Lines: []Line{line, ended}, Standing: []Line{line},
	}, "token")
}
