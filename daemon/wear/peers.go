//go:build linux

package main

import (
	"context"
	"fmt"
	"math"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"fluewright/analysis/frame"
)

// A program keeps the load's history in a directory.
type program struct {
	name  string
	needs []string // commands
	// command is what runs it; it may write its configuration into conf and its data into
	// dir, and begin to serve or send the load, until ctx ends.
	command func(ctx context.Context, conf, dir string, rows []frame.Values) (*exec.Cmd, error)
}

func programs() []program {
	return []program{
		{"this history, burning", nil, feeder("burning")},
		{"this history, cold", nil, feeder("cold")},
		{"Prometheus, scraped each second", []string{"prometheus"}, prometheus},
		{"collectd and rrdtool, cached 120 s, flushed 900 s", []string{"collectd", "rrdtool"}, collectd("CacheTimeout 120\nCacheFlush 900")},
		{"collectd and rrdtool, as they come", []string{"collectd", "rrdtool"}, collectd("")},
	}
}

// missing names the first command that is not there.
func (p program) missing() string {
	for _, name := range p.needs {
		if _, err := exec.LookPath(name); err != nil {
			return name
		}
	}
	return ""
}

func feeder(phase string) func(context.Context, string, string, []frame.Values) (*exec.Cmd, error) {
	return func(ctx context.Context, _, dir string, _ []frame.Values) (*exec.Cmd, error) {
		self, err := os.Executable()
		if err != nil {
			return nil, err
		}
		return exec.CommandContext(ctx, self, "-feed", dir, "-phase", phase), nil
	}
}

// prometheus scrapes a page of the load.
func prometheus(ctx context.Context, conf, dir string, rows []frame.Values) (*exec.Cmd, error) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	begun := time.Now()
	server := &http.Server{ReadHeaderTimeout: 10 * time.Second, Handler: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		for k := range series {
			fmt.Fprintf(w, "wear_gauge{channel=\"%d\"} %s\n", k, number(gauge(rows, int(time.Since(begun)/time.Second), k)))
		}
	})}
	go func() { _ = server.Serve(listener) }()
	context.AfterFunc(ctx, func() { _ = server.Close() })
	text := fmt.Sprintf("global: {scrape_interval: 1s, scrape_timeout: 1s}\nscrape_configs:\n- {job_name: wear, static_configs: [{targets: ['%s']}]}\n", listener.Addr())
	cmd, _, err := servePrometheus(ctx, conf, filepath.Join(dir, "data"), text)
	return cmd, err
}

// servePrometheus is the command for a server over the data in dir, and where it will be.
func servePrometheus(ctx context.Context, conf, dir, text string) (*exec.Cmd, string, error) {
	path := filepath.Join(conf, "prometheus.yml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		return nil, "", err
	}
	address, err := freeAddress()
	return exec.CommandContext(ctx, "prometheus", "--config.file="+path, "--storage.tsdb.path="+dir, "--storage.tsdb.retention.time=10y",
		"--web.listen-address="+address, "--log.level=error"), address, err
}

// freeAddress was free a moment ago.
func freeAddress() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	return l.Addr().String(), l.Close()
}

// collectd takes the load through its socket.
func collectd(setting string) func(context.Context, string, string, []frame.Values) (*exec.Cmd, error) {
	return func(ctx context.Context, conf, dir string, rows []frame.Values) (*exec.Cmd, error) {
		path, socket := filepath.Join(conf, "collectd.conf"), filepath.Join(conf, "socket")
		text := fmt.Sprintf(`Hostname "site"
BaseDir %q
PIDFile %q
TypesDB "/usr/share/collectd/types.db"
Interval 1
LoadPlugin rrdtool
LoadPlugin unixsock
<Plugin rrdtool>
DataDir %q
%s
</Plugin>
<Plugin unixsock>
SocketFile %q
SocketGroup "root"
</Plugin>
`, dir, filepath.Join(conf, "pid"), filepath.Join(dir, "rrd"), setting, socket)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			return nil, err
		}
		go put(ctx, socket, rows)
		return exec.CommandContext(ctx, "collectd", "-f", "-C", path), nil
	}
}

// put sends the load to collectd once it is there.
func put(ctx context.Context, socket string, rows []frame.Values) {
	ticker := time.NewTicker(time.Second)
	defer ticker.Stop()
	var conn net.Conn
	answers := make([]byte, 4096)
	for i := 0; ; i++ {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
		if conn == nil {
			c, err := net.Dial("unix", socket)
			if err != nil {
				continue
			}
			conn = c
			context.AfterFunc(ctx, func() { _ = c.Close() })
		}
		var b strings.Builder
		for k := range series {
			fmt.Fprintf(&b, "PUTVAL site/wear/gauge-%d interval=1 N:%s\n", k, number(gauge(rows, i, k)))
		}
		if _, err := conn.Write([]byte(b.String())); err != nil {
			return
		}
		_, _ = conn.Read(answers) // or its buffer runs full
	}
}

// number writes a value as short as it is exact.
func number(v float64) string {
	if math.IsNaN(v) {
		return "NaN"
	}
	return fmt.Sprintf("%.10g", v)
}
