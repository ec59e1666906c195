package config_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"fluewright/configs"
	"fluewright/daemon/internal/config"
)

// keysOf asks the parser what keys a table has: it lists them to whoever writes one that
// resembles none.
func keysOf(t *testing.T, header string) []string {
	t.Helper()
	_, err := config.Parse("keys.toml", []byte(header+"\nzzzzzzzzzzzzzzzzzzzz = 1\n"))
	if err == nil {
		t.Fatal("an unknown key was accepted")
	}
	_, list, found := strings.Cut(err.Error(), "zzzz is not a key; the keys here are ")
	if !found {
		t.Fatalf("no list of keys: %v", err)
	}
	list, _, _ = strings.Cut(list, "\n")
	return strings.Split(list, ", ")
}

func TestReferenceDocumentsEveryKey(t *testing.T) {
	reference := string(configs.Reference)
	section := func(header string) string {
		_, text, found := strings.Cut(reference, "\n"+header+"\n")
		if !found {
			t.Errorf("%s is missing", header)
		}
		text, _, _ = strings.Cut(text, "\n[")
		return text
	}
	holds := func(text, key string) bool {
		return regexp.MustCompile(`(?m)^#?` + regexp.QuoteMeta(key) + ` = `).MatchString(text)
	}
	for _, table := range keysOf(t, "") {
		switch table {
		case "sensor":
			for _, key := range keysOf(t, "[[sensor]]\nchip = \"max31856\"") {
				if !holds(section("[[sensor]]"), key) {
					t.Errorf("sensor.%s is missing at an amplifier", key)
				}
			}
			// Keys of chips that are not in the standard set stand in the list above it.
			listed := func(key string) bool {
				return regexp.MustCompile(`(?m)^# ` + regexp.QuoteMeta(key) + ` {2,}\S`).MatchString(reference)
			}
			for _, chip := range []string{"bme280", "max31855", "mcp9601", "ads1115", "ads1115\"\nsignal = \"0.5-4.5 V", "ads1115\"\nsignal = \"4-20 mA"} {
				for _, key := range keysOf(t, "[[sensor]]\nchip = \""+chip+"\"") {
					if !listed(key) {
						t.Errorf("sensor.%s of %s is missing", key, chip)
					}
				}
			}
		case "broker":
			for _, key := range keysOf(t, "[broker]") {
				if key != "user" && !holds(section("[broker]"), key) {
					t.Errorf("broker.%s is missing", key)
				}
			}
			for _, key := range keysOf(t, "[[broker.user]]") {
				if !regexp.MustCompile(`(?m)^#   ` + key + ` +\S`).MatchString(section("[broker]")) {
					t.Errorf("broker.user.%s is missing", key)
				}
			}
		case "remote-write":
			for _, key := range keysOf(t, "[[remote-write]]") {
				if !holds(section("#[[remote-write]]"), key) {
					t.Errorf("remote-write.%s is missing", key)
				}
			}
		case "alarms":
			for _, name := range keysOf(t, "[alarms]") {
				header := "[alarms." + name + "]"
				for _, key := range keysOf(t, header) {
					if !holds(section(header), key) {
						t.Errorf("%s %s is missing", header, key)
					}
				}
			}
		case "notify":
			for _, key := range keysOf(t, "[notify]") {
				switch key {
				case "transport", "person":
				case "alertmanager", "heartbeat":
					header := "[notify." + key + "]"
					for _, key := range keysOf(t, header) {
						if !holds(section(header), key) && key != "url" {
							t.Errorf("%s %s is missing", header, key)
						}
					}
				default:
					if !holds(section("[notify]"), key) {
						t.Errorf("notify.%s is missing", key)
					}
				}
			}
			listed := func(key string) bool {
				return regexp.MustCompile(`(?m)^# (\S+, )?` + regexp.QuoteMeta(key) + `,? +\S`).MatchString(section("[notify]"))
			}
			for _, header := range []string{
				"[[notify.person]]", "[[notify.transport]]\nkind = \"push\"", "[[notify.transport]]\nkind = \"mail\"",
				"[[notify.transport]]\nkind = \"webhook\"",
			} {
				for _, key := range keysOf(t, header) {
					if !listed(key) {
						t.Errorf("%s: %s is missing", header, key)
					}
				}
			}
		default:
			for _, key := range keysOf(t, "["+table+"]") {
				if !holds(section("["+table+"]"), key) {
					t.Errorf("%s.%s is missing", table, key)
				}
			}
		}
	}
}

// What stands behind a '#' as an example can be used as it is.
func TestReferenceExamplesAreAccepted(t *testing.T) {
	text := regexp.MustCompile(`(?m)^#([a-z-]+ = |\[\[)`).ReplaceAllString(string(configs.Reference), "$1")
	text = strings.Replace(text, "\nembedded = ", "\n# embedded = ", 1) // gives way to the broker
	text = strings.Replace(text, "\ncertificate-file = \"/etc/fluewright/broker.pem", "\n#", 1)
	text = strings.Replace(text, "\nkey-file = \"/etc/fluewright/broker-key.pem", "\n#", 1)
	text = strings.Replace(text, "\ntoken-file = ", "\n# token-file = ", 1) // and this to the password
	text += `
[[sensor]]
channels = ["firebox"]
chip = "max31856"
bus = "/dev/spidev1.0"
thermocouple = "K"
`
	c, err := config.Parse("examples.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	check(t, c)
	got := fmt.Sprint(c.MQTT)
	want := "{ssl://broker.example:8883 fluewright-furnace furnace /run/credentials/fluewright.service/mqtt-password /etc/fluewright/ca.pem" +
		" /etc/fluewright/site-cert.pem /etc/fluewright/site-cert-key.pem fluewright false 168h0m0s false }"
	if got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	got = fmt.Sprint(c.RemoteWrite)
	want = "[{desk https://prometheus.example/api/v1/write false 10s 1m0s 72h0m0s furnace /run/credentials/fluewright.service/desk-password" +
		"  /etc/fluewright/desk-ca.pem /etc/fluewright/site.pem /etc/fluewright/site-key.pem house-1}]"
	if got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// The example of the broker's users can be used as it is, with what stands beside it.
func TestReferenceExampleOfUsers(t *testing.T) {
	_, text, found := strings.Cut(string(configs.Reference), "\n[broker]\n")
	text, _, ended := strings.Cut(text, "\n[web]\n")
	if !found || !ended {
		t.Fatal("there is no table of the broker")
	}
	keys, example, found := strings.Cut(text, "# As here:\n#\n")
	if !found {
		t.Fatal("there is no example")
	}
	keys = regexp.MustCompile(`(?m)^#([a-z-]+ = )`).ReplaceAllString(keys, "$1")
	example = regexp.MustCompile(`(?m)^# ?`).ReplaceAllString(example, "")
	c, err := config.Parse("users.toml", []byte("[broker]\n"+keys+example+"\n[mqtt]\nembedded = \":1883\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	check(t, c)
	var got []string
	for _, u := range c.Broker.Users {
		got = append(got, fmt.Sprint(u.Name, u.Read, u.Write))
	}
	want := "owner[#] [command/acknowledge command/live command/note command/snapshot command/test-alert command/trend]\n" +
		"hall-display[availability state alarm/#] [command/snapshot]"
	if strings.Join(got, "\n") != want || c.Broker.KeyFile == "" || c.MQTT.Embedded != ":1883" {
		t.Errorf("got %q of %+v", got, c.Broker)
	}
}

// The example of people and transports can be used as it is.
func TestReferenceExampleOfPeople(t *testing.T) {
	_, text, found := strings.Cut(string(configs.Reference), "# For example:\n#\n")
	text, _, ended := strings.Cut(text, "\n\n")
	if !found || !ended {
		t.Fatal("there is no example")
	}
	c, err := config.Parse("people.toml", []byte(regexp.MustCompile(`(?m)^# ?`).ReplaceAllString(text, "")))
	if err != nil {
		t.Fatal(err)
	}
	n := c.Notify
	if len(n.Transports) != 2 || len(n.People) != 1 || len(n.People[0].Via) != 2 || n.People[0].QuietFrom != 22*60 || n.People[0].QuietTo != 6*60+30 {
		t.Errorf("got %+v", n)
	}
}

// The chips that the reference lists are those that the parser knows.
func TestReferenceListsEveryChip(t *testing.T) {
	_, err := config.Parse("chip.toml", []byte("[[sensor]]\nchip = \"none\"\n"))
	if err == nil {
		t.Fatal("an unknown chip was accepted")
	}
	_, list, _ := strings.Cut(err.Error(), `"none" is unknown; `)
	list, _, _ = strings.Cut(list, "\n")
	names := regexp.MustCompile(`"([^"]+)"`).FindAllStringSubmatch(list, -1)
	if len(names) < 5 {
		t.Fatalf("too few chips in %q", list)
	}
	for _, name := range names {
		if !regexp.MustCompile(`(?m)^#.*\b` + name[1] + `\b`).MatchString(string(configs.Reference)) {
			t.Errorf("%s is missing", name[1])
		}
	}
}
