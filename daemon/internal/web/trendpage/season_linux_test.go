package trendpage_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/web/browsertest"
)

// days is how long a season is.
func days() int {
	if n, err := strconv.Atoi(os.Getenv("FLUEWRIGHT_SEASON")); err == nil {
		return n
	}
	return 10
}

// used is how long this process has had a processor: other programs do not count.
func used(t testing.TB) time.Duration {
	t.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// In a browser a season is there as soon as an hour, from the tap to the picture.
func TestASeasonIsThereAsSoonAsAnHour(t *testing.T) {
	b := browsertest.Start(t)
	cfg := site()
	tab := b.Tab(t, browsertest.Look{Width: 1280})
	tab.Open(listen(t, cfg, season(t, cfg, days())) + "/trend?since=6h")
	tab.Until(live, time.Minute)
	took := func(since string) time.Duration {
		var all []float64
		for range 7 {
			var ms float64
			tab.Eval(fmt.Sprintf(`(async () => { const t = performance.now(); await trend.load('since=%s'); await new Promise(requestAnimationFrame); return performance.now() - t; })()`, since), &ms)
			all = append(all, ms)
		}
		slices.Sort(all)
		return time.Duration(all[len(all)/2] * float64(time.Millisecond))
	}
	hour, whole := took("1h"), took("48000h")
	t.Logf("an hour is there after %v, %d days after %v", hour, days(), whole)
	if whole > 4*hour+500*time.Millisecond {
		t.Error("that is far apart")
	}
}

// A window of 200 days is as quick as one hour. FLUEWRIGHT_SEASON is how many days there are, else 10.
func BenchmarkWindow(b *testing.B) {
	cfg := site()
	h := serve(b, cfg, season(b, cfg, days()))
	for _, path := range []string{
		"/trend/picture?width=970&since=1h", "/trend/picture?width=970&since=24h", "/trend/picture?width=970&since=48000h",
		"/trend/picture?width=390&since=1h", "/trend/picture?width=390&since=48000h",
		"/trend?since=1h", "/trend?since=48000h",
		"/api/v1/trend?since=1h", "/api/v1/trend?since=24h", "/api/v1/trend?from=0",
		"/api/v1/trend/statistics?since=1h", "/api/v1/trend/statistics?from=0",
	} {
		b.Run(strings.NewReplacer("/", "_").Replace(path), func(b *testing.B) {
			size, before := 0, used(b)
			for b.Loop() {
				r := httptest.NewRequest("GET", path, nil)
				r.Header.Set("Accept-Encoding", "gzip")
				w := httptest.NewRecorder()
				h.ServeHTTP(w, r)
				if size = w.Body.Len(); w.Code != http.StatusOK {
					b.Fatal(w.Code, w.Body)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/1000/float64(b.N), "ms/answer")
			b.ReportMetric((used(b)-before).Seconds()*1000/float64(b.N), "cpu-ms/answer")
			b.ReportMetric(float64(size)/1000, "kB")
		})
	}
}
