package remotewrite

import (
	"cmp"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// server is a real Prometheus, which is started, killed and started again over one store.
// The environment's FLUEWRIGHT_PROMETHEUS names another than the installed one.
type server struct {
	t    *testing.T
	path string
	dir  string
	addr string
	cmd  *exec.Cmd
}

func newServer(t *testing.T) *server {
	t.Helper()
	if testing.Short() {
		t.Skip("six hours take half a minute")
	}
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("real receivers are for real machines")
	}
	path, err := exec.LookPath(cmp.Or(os.Getenv("FLUEWRIGHT_PROMETHEUS"), "prometheus"))
	if err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatal("prometheus is not installed")
		}
		t.Skip("prometheus is not installed")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &server{t: t, path: path, dir: t.TempDir(), addr: l.Addr().String()}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(s.dir, "prometheus.yml"), []byte("global: {}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.kill)
	return s
}

func (s *server) start() {
	s.t.Helper()
	s.cmd = exec.Command(s.path, "--config.file="+filepath.Join(s.dir, "prometheus.yml"),
		"--storage.tsdb.path="+filepath.Join(s.dir, "data"), "--web.listen-address="+s.addr,
		"--web.enable-remote-write-receiver", "--log.level=error")
	if err := s.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	for range 300 {
		if res, err := http.Get("http://" + s.addr + "/-/ready"); err == nil {
			_ = res.Body.Close()
			if res.StatusCode == http.StatusOK {
				return
			}
		}
		time.Sleep(100 * time.Millisecond)
	}
	s.t.Fatal("prometheus is not ready after 30 s")
}

// kill gives it no time to write anything.
func (s *server) kill() {
	if s.cmd == nil {
		return
	}
	_ = s.cmd.Process.Kill()
	_ = s.cmd.Wait()
	s.cmd = nil
}

// newest is the newest version of the protocol that it takes: 2.0 since its version 3.
func (s *server) newest() string {
	said, err := exec.Command(s.path, "--version").CombinedOutput()
	if err != nil {
		s.t.Fatalf("%v: %s", err, said)
	}
	s.t.Logf("%s", said)
	if strings.HasPrefix(string(said), "prometheus, version 2.") {
		return v1.version
	}
	return v2.version
}

func (s *server) url() string { return "http://" + s.addr + "/api/v1/write" }

// raw returns the samples of one series as they are stored.
func (s *server) raw(selector string, at time.Time) []sample {
	s.t.Helper()
	res, err := http.Get("http://" + s.addr + "/api/v1/query?" + url.Values{
		"query": {selector + "[12h]"}, "time": {strconv.FormatInt(at.Unix(), 10)},
	}.Encode())
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	var answer struct {
		Data struct {
			Result []struct{ Values [][2]any }
		}
	}
	if err := json.NewDecoder(res.Body).Decode(&answer); err != nil {
		s.t.Fatal(err)
	}
	if n := len(answer.Data.Result); n == 0 {
		return nil
	} else if n > 1 {
		s.t.Fatalf("%s is %d series", selector, n)
	}
	var all []sample
	for _, v := range answer.Data.Result[0].Values {
		value, err := strconv.ParseFloat(v[1].(string), 64)
		if err != nil {
			s.t.Fatal(err)
		}
		all = append(all, sample{int64(v[0].(float64)*1000 + 0.5), value})
	}
	return all
}

// Six hours pass while nobody receives. Then the receiver comes, is killed and comes again,
// and the sender forgets its last minutes in a power cut. Afterwards the receiver has each
// sample once.
func TestPrometheusGetsSixHoursOnce(t *testing.T) {
	for _, newer := range []bool{false, true} {
		t.Run(fmt.Sprint("begun with 2.0: ", newer), func(t *testing.T) {
			r := newServer(t)
			const lasts = 6 * time.Hour
			start := time.Now().Add(-lasts - time.Minute).Truncate(time.Second)
			p := begin(t, t.TempDir(), start)
			p.ticks(0, lasts)
			p.commit()

			o := destination(r.url(), p)
			o.Dir, o.Newer = t.TempDir(), newer
			s, stop := run(t, o)
			time.Sleep(2 * time.Second) // nobody is there
			if st := s.Stats(); st.Requests["failed"] == 0 || st.Sent != 0 || st.Pending < 6*3600-1 {
				t.Errorf("without a receiver: %+v", st)
			}
			r.start()
			waitFor(t, func() bool { return s.Stats().Sent > 8000 })
			r.kill()
			waitFor(t, func() bool {
				n := s.Stats().Requests["failed"]
				time.Sleep(time.Second)
				return s.Stats().Requests["failed"] > n
			})
			r.start()
			before := s.Stats().Sent
			waitFor(t, func() bool { return s.Stats().Sent > before+2000 })
			forgotten, err := os.ReadFile(filepath.Join(o.Dir, fileName(o.Name)))
			if err != nil {
				t.Fatal(err)
			}
			waitFor(t, func() bool { return s.Stats().Sent > before+9000 })
			stop()
			if err := os.WriteFile(filepath.Join(o.Dir, fileName(o.Name)), forgotten, 0o600); err != nil {
				t.Fatal(err)
			}

			s, stop = run(t, o)
			waitFor(t, func() bool { st := s.Stats(); return st.Pending == 0 && st.Requests["taken"] > 0 })
			stop()
			want := v1.version
			if newer {
				want = r.newest()
			}
			if got := s.Stats().Protocol; got != want {
				t.Errorf("in the end version %s is spoken, want %s", got, want)
			}
			last := lasts - time.Second // its slot is open
			var flue, draft []sample
			for at := time.Duration(0); at < last; at += time.Second {
				ms := start.Add(at).UnixMilli()
				flue = append(flue, sample{ms, flueAt(at)})
				if draftThere(at) {
					draft = append(draft, sample{ms, 12})
				}
			}
			equal(t, r.raw(`fluewright_temperature_celsius{channel="flue",site="cellar-7"}`, start.Add(lasts)), flue)
			equal(t, r.raw(`fluewright_draft_pascals{site="cellar-7"}`, start.Add(lasts)), draft)
		})
	}
}

func waitFor(t *testing.T, done func() bool) {
	t.Helper()
	for range 1200 {
		if done() {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("it did not happen within a minute")
}

func equal(t *testing.T, got, want []sample) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%d samples, want %d", len(got), len(want))
	}
	for i := range min(len(got), len(want)) {
		if got[i] != want[i] {
			t.Fatalf("sample %d is %v, want %v", i, got[i], want[i])
		}
	}
}
