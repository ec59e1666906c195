package remotewrite

import (
	"context"
	"io"
	"math"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	dto "github.com/prometheus/client_model/go"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

// transport answers requests without a network, so that hours pass at once.
type transport func(at time.Time, got []series) (status int, header http.Header)

func (f transport) RoundTrip(r *http.Request) (*http.Response, error) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, err
	}
	got, err := decode(r.Header.Get("X-Prometheus-Remote-Write-Version"), body)
	if err != nil {
		return nil, err
	}
	status, header := f(time.Now(), got)
	if header == nil {
		header = http.Header{}
	}
	return &http.Response{StatusCode: status, Header: header, Body: io.NopCloser(strings.NewReader(""))}, nil
}

// growing is a history with a row of the flue each second since start.
func growing(start time.Time) func(context.Context, history.Position) ([]history.Followed, int64, error) {
	return func(_ context.Context, p history.Position) (rows []history.Followed, _ int64, _ error) {
		first := int64(0)
		if p.Run == 1 {
			first = p.MS/1000 + 1
		}
		last := int64(time.Since(start) / time.Second)
		for n := first; n < min(last, first+600); n++ {
			f := history.Followed{Position: history.Position{Run: 1, Identity: "run", MS: n * 1000}}
			f.At, f.Sure = start.Add(time.Duration(n)*time.Second), true
			for c := range f.Values {
				f.Values[c] = math.NaN()
			}
			f.Values[frame.Flue], f.Quality[frame.Flue] = float64(n), frame.Good
			rows = append(rows, f)
		}
		return rows, last - first, nil
	}
}

// running is the sender that over runs.
var running *Sender

// over runs a sender for a time against answers, and returns how it did and how many times
// each moment of the flue was taken.
func over(t *testing.T, lasts, backFill time.Duration, answer transport) (Stats, map[int64]int, int) {
	t.Helper()
	o := destination("http://receiver/write", &past{})
	o.Fitted = [frame.Count]bool{frame.Flue: true}
	o.Follow, o.Every, o.BackFill = growing(time.Now()), time.Minute, backFill
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	running = s
	times, requests := map[int64]int{}, 0
	s.client.http.Timeout = 0
	s.client.http.Transport = transport(func(at time.Time, got []series) (int, http.Header) {
		requests++
		status, header := answer(at, got)
		if status/100 == 2 {
			for _, one := range got {
				if one.labels[0].value == "fluewright_temperature_celsius" {
					for _, v := range one.samples {
						times[v.ms]++
					}
				}
			}
		}
		return status, header
	})
	ctx, cancel := context.WithTimeout(t.Context(), lasts)
	defer cancel()
	if err := s.Run(ctx); err != nil {
		t.Fatal(err)
	}
	return s.Stats(), times, requests
}

func once(t *testing.T, times map[int64]int, from, to time.Time) {
	t.Helper()
	for at := from; at.Before(to); at = at.Add(time.Second) {
		if n := times[at.UnixMilli()]; n != 1 {
			t.Fatalf("%v was taken %d times", at.Sub(from), n)
		}
	}
}

// Six hours without a receiver cost few requests, and afterwards it has all of them.
func TestSixHoursAway(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		most := int64(0)
		st, times, requests := over(t, 7*time.Hour, 24*time.Hour, func(at time.Time, _ []series) (int, http.Header) {
			most = max(most, running.Stats().Pending)
			if at.Sub(start) < 6*time.Hour {
				return http.StatusServiceUnavailable, nil
			}
			return http.StatusNoContent, nil
		})
		once(t, times, start, start.Add(7*time.Hour-2*time.Minute))
		if most < 5*3600 {
			t.Errorf("while it was away at most %d rows were said to wait", most)
		}
		if failed := st.Requests["failed"]; failed < 60 || failed > 400 || requests > 600 {
			t.Errorf("%d requests, %d failed", requests, failed)
		}
		if st.Dropped[refusedPart]+st.Dropped[tooOld] > 0 {
			t.Errorf("%v", st.Dropped)
		}
	})
}

// What has become too old while it was tried is passed over, and no more than that.
func TestAwayForTooLong(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		back := start.Add(30 * time.Hour)
		st, times, _ := over(t, 31*time.Hour, 24*time.Hour, func(at time.Time, _ []series) (int, http.Header) {
			if at.Before(back) {
				return http.StatusBadGateway, nil
			}
			return http.StatusNoContent, nil
		})
		once(t, times, start.Add(6*time.Hour+10*time.Minute), start.Add(31*time.Hour-2*time.Minute))
		if st.Dropped[tooOld] == 0 || times[start.Add(5*time.Hour).UnixMilli()] > 0 {
			t.Errorf("%v", st.Dropped)
		}
	})
}

// A receiver that asks for a pause gets it.
func TestAPauseIsKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var last time.Time
		asked := http.Header{"Retry-After": {"600"}}
		over(t, 2*time.Hour, 24*time.Hour, func(at time.Time, _ []series) (int, http.Header) {
			if !last.IsZero() && at.Sub(last) < 10*time.Minute {
				t.Errorf("asked again after %v", at.Sub(last))
			}
			last = at
			return http.StatusTooManyRequests, asked
		})
	})
}

// A moment that breaks the receiver each time costs that moment, and the rest goes on.
func TestAMomentThatBreaksTheReceiver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		bad := start.Add(100 * time.Second).UnixMilli()
		st, times, _ := over(t, 3*time.Hour, 24*time.Hour, func(_ time.Time, got []series) (int, http.Header) {
			for _, s := range got {
				for _, v := range s.samples {
					if v.ms == bad {
						return http.StatusInternalServerError, nil
					}
				}
			}
			return http.StatusNoContent, nil
		})
		lost := 0
		for at := start; at.Before(start.Add(2 * time.Hour)); at = at.Add(time.Second) {
			if times[at.UnixMilli()] == 0 {
				lost++
			}
		}
		if lost != 1 || times[bad] > 0 || st.Dropped[refusedPart] != 1 {
			t.Errorf("%d moments are lost, dropped %v", lost, st.Dropped)
		}
	})
}

// After a power cut much is sent again to a receiver that takes nothing twice: it still gets
// all that it lacks, wherever that begins.
func TestSentAgain(t *testing.T) {
	for _, had := range []time.Duration{0, 60 * time.Minute, 63 * time.Minute, 66 * time.Minute, 69 * time.Minute, 72 * time.Minute, 75 * time.Minute} {
		synctest.Test(t, func(t *testing.T) {
			start := time.Now()
			newest := start.Add(had).UnixMilli()
			_, times, _ := over(t, 3*time.Hour, 24*time.Hour, func(at time.Time, got []series) (int, http.Header) {
				if at.Sub(start) < 2*time.Hour {
					return http.StatusServiceUnavailable, nil
				}
				last := newest
				for _, s := range got {
					for _, v := range s.samples {
						if v.ms < newest {
							return http.StatusBadRequest, nil
						}
						last = max(last, v.ms)
					}
				}
				newest = last
				return http.StatusNoContent, nil
			})
			once(t, times, start.Add(had), start.Add(3*time.Hour-2*time.Minute))
		})
	}
}

// By a clock that is not set nothing is said of what is now.
func TestNothingIsNowWithoutAClock(t *testing.T) {
	o := destination("http://receiver/write", &past{})
	name, value := "fluewright_alarm_active", 1.0
	o.Live = func() ([]*dto.MetricFamily, error) {
		return []*dto.MetricFamily{{Name: &name, Metric: []*dto.Metric{{Gauge: &dto.Gauge{Value: &value}}}}}, nil
	}
	set, asked := false, 0
	o.Trusted = func() bool { return set }
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	s.client.http.Transport = transport(func(time.Time, []series) (int, http.Header) { asked++; return http.StatusNoContent, nil })
	if s.sendLive(t.Context()) || asked > 0 {
		t.Error("something is said before the clock is set")
	}
	if set = true; !s.sendLive(t.Context()) || asked != 1 {
		t.Error("nothing is said after it")
	}
}

// An answer of the receiver that fails for everybody loses nothing.
func TestAReceiverThatIsBroken(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		st, times, _ := over(t, 5*time.Hour, 24*time.Hour, func(at time.Time, _ []series) (int, http.Header) {
			if at.Sub(start) < 4*time.Hour {
				return http.StatusInternalServerError, nil
			}
			return http.StatusNoContent, nil
		})
		once(t, times, start, start.Add(5*time.Hour-2*time.Minute))
		if st.Dropped[refusedPart] > 0 {
			t.Errorf("%v", st.Dropped)
		}
	})
}
