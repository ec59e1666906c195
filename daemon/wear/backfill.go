//go:build linux

package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"time"

	"fluewright/analysis/frame"
)

// peers prints what those that can take over a day make of it: Prometheus by its blocks, and
// rrdtool by files of the form that collectd makes, which have one size whatever is in them.
func peers(ctx context.Context, home string, day []frame.Values, out, talk io.Writer) error {
	for _, p := range []struct {
		name  string
		needs []string
		look  func(ctx context.Context, dir string, day []frame.Values, out, talk io.Writer) error
	}{
		{"Prometheus", []string{"prometheus", "promtool"}, prometheusDay},
		{"rrdtool", []string{"rrdtool"}, rrdDay},
	} {
		if name := (program{needs: p.needs}).missing(); name != "" {
			fmt.Fprintf(out, "| %s | not measured: %s is not installed | |\n", p.name, name)
			continue
		}
		dir := filepath.Join(home, p.name)
		if err := os.Mkdir(dir, 0o755); err != nil {
			return err
		}
		if err := p.look(ctx, dir, day, out, talk); err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
	}
	fmt.Fprintln(out)
	return nil
}

func prometheusDay(ctx context.Context, dir string, day []frame.Values, out, talk io.Writer) (err error) {
	text, data := filepath.Join(dir, "day.om"), filepath.Join(dir, "data")
	readings, err := writeOpenMetrics(text, day)
	if err != nil {
		return err
	}
	fmt.Fprintln(talk, "promtool makes blocks of a day")
	if said, err := exec.CommandContext(ctx, "promtool", "tsdb", "create-blocks-from", "openmetrics", text, data).CombinedOutput(); err != nil {
		return fmt.Errorf("make blocks: %w: %s", err, said)
	}
	size := int64(0)
	err = filepath.WalkDir(data, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		size += info.Size()
		return err
	})
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	cmd, address, err := servePrometheus(ctx, dir, data, "scrape_configs: []\n")
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		stop()
		return err
	}
	defer func() { stop(); _ = cmd.Wait() }()
	for ready := false; !ready; {
		if err := wait(ctx, 200*time.Millisecond); err != nil {
			return err
		}
		response, err := http.Get("http://" + address + "/-/ready")
		ready = err == nil && response.StatusCode == http.StatusOK
		if err == nil {
			_ = response.Body.Close()
		}
	}
	one, err := median(func() error { return ask(ctx, address, `wear{channel="flue"}`, len(day)) })
	if err != nil {
		return err
	}
	all, err := median(func() error { return ask(ctx, address, "wear", len(day)) })
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "| Prometheus by HTTP, min, mean and max of 24 h; %.3f bytes a sample in blocks | %s | %s |\n", float64(size)/float64(readings), one, all)
	return nil
}

// writeOpenMetrics writes the rows as https://openmetrics.io has them, one series after the
// other.
func writeOpenMetrics(path string, day []frame.Values) (readings int, err error) {
	file, err := os.Create(path)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	w := bufio.NewWriter(file)
	fmt.Fprintln(w, "# TYPE wear gauge")
	for _, c := range frame.All() {
		for i, v := range day {
			if !math.IsNaN(v[c]) {
				fmt.Fprintf(w, "wear{channel=\"%v\"} %s %d\n", c, number(v[c]), origin.Unix()+int64(i))
				readings++
			}
		}
	}
	fmt.Fprintln(w, "# EOF")
	return readings, w.Flush()
}

// ask asks for the least, the mean and the most of a day's columns.
func ask(ctx context.Context, address, series string, seconds int) error {
	step := max(seconds/pixels, 1)
	for _, of := range []string{"min", "avg", "max"} {
		q := url.Values{
			"query": {fmt.Sprintf("%s_over_time(%s[%ds])", of, series, step)},
			"start": {strconv.FormatInt(origin.Unix(), 10)}, "end": {strconv.FormatInt(origin.Unix()+int64(seconds), 10)}, "step": {strconv.Itoa(step)},
		}
		request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+address+"/api/v1/query_range?"+q.Encode(), nil)
		if err != nil {
			return err
		}
		response, err := http.DefaultClient.Do(request)
		if err != nil {
			return err
		}
		var answer struct {
			Data struct{ Result []json.RawMessage }
		}
		err = errors.Join(json.NewDecoder(response.Body).Decode(&answer), response.Body.Close())
		if err != nil {
			return err
		}
		if len(answer.Data.Result) == 0 {
			return errors.New("it knows nothing of the day")
		}
	}
	return nil
}

// rrdDay asks files with collectd's day of 1,200 rows, one process a channel and function, as
// a page made by rrdtool does.
func rrdDay(ctx context.Context, dir string, _ []frame.Values, out, _ io.Writer) error {
	size := int64(0)
	for _, c := range frame.All() {
		path := filepath.Join(dir, c.String()+".rrd")
		args := []string{"create", path, "--step", "1", "--start", strconv.FormatInt(origin.Unix(), 10), "DS:value:GAUGE:2:U:U"}
		for _, steps := range []int{1, 3, 72, 504, 2232, 26352} { // its time spans, in 1,200 rows each
			for _, of := range []string{"AVERAGE", "MIN", "MAX"} {
				args = append(args, fmt.Sprintf("RRA:%s:0.1:%d:1200", of, steps))
			}
		}
		if said, err := exec.CommandContext(ctx, "rrdtool", args...).CombinedOutput(); err != nil {
			return fmt.Errorf("%w: %s", err, said)
		}
		info, err := os.Stat(path)
		if err != nil {
			return err
		}
		size += info.Size()
	}
	fetch := func(channels ...frame.Channel) func() error {
		return func() error {
			for _, c := range channels {
				for _, of := range []string{"MIN", "AVERAGE", "MAX"} {
					args := []string{"fetch", filepath.Join(dir, c.String()+".rrd"), of, "-r", "72", "-s", strconv.FormatInt(origin.Unix(), 10), "-e", strconv.FormatInt(origin.Unix()+86400, 10)}
					if said, err := exec.CommandContext(ctx, "rrdtool", args...).CombinedOutput(); err != nil {
						return fmt.Errorf("%w: %s", err, said)
					}
				}
			}
			return nil
		}
	}
	one, err := median(fetch(frame.Flue))
	if err != nil {
		return err
	}
	all, err := median(fetch(frame.All()...))
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "| rrdtool fetch, the same, from empty files; %.2f MB, an hour of it at 1 s | %s | %s |\n", float64(size)/1e6, one, all)
	return nil
}
