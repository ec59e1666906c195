package fleettest

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// What a site that is gone has left behind is removed with the commands of the page, and
// nothing else is.
func TestWhatIsLeftBehindIsRemoved(t *testing.T) {
	t.Parallel()
	Need(t, "mosquitto_sub", "mosquitto_pub")
	a := NewAuthority(t)
	b := NewBroker(t, a)
	gone, stays := Join(t, b.Sites, a.TLS(a.Site("cellar-9")), Hello{}), Join(t, b.Sites, a.TLS(a.Site("cellar-7")), Hello{})
	for _, topic := range []string{"availability", "state", "alarm/spillage", "alarm/overheat/flue"} {
		gone.Say("fluewright/cellar-9/"+topic, "x", true)
	}
	stays.Say("fluewright/cellar-7/availability", "online", true)
	gone.Quit()
	custodian, desk := a.Person("custodian", ""), a.Person("desk", "")
	dir := t.TempDir()
	for name, from := range map[string]string{"root.pem": a.Path("root/certificate.pem"), "person.pem": custodian.Cert, "person-key.pem": custodian.Key} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(Text(t, from)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	script := ""
	for _, m := range block.FindAllStringSubmatch(Text(t, filepath.Join(Configs(t), "fleet", "mosquitto", "README.md")), -1) {
		if m[1] == "remove" {
			script = m[2]
		}
	}
	cmd := exec.Command("bash", "-e", "-o", "pipefail", "-c", script)
	cmd.Dir, cmd.Env = dir, append(os.Environ(), "BROKER="+BrokerName, "PORT="+port(b.People), "SITE=cellar-9")
	if out, err := cmd.CombinedOutput(); err != nil || script == "" {
		t.Fatalf("%v\n%s", err, out)
	}
	d := Join(t, b.People, a.TLS(desk), Hello{})
	d.Hear("fluewright/#")
	if all := d.All(); len(all) != 1 || all[0] != "fluewright/cellar-7/availability online" {
		t.Errorf("left are %q", all)
	}
}
