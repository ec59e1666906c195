package history_test

import (
	"context"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/sensors/bench/nights"
)

// course is some days of the bench's furnaces, one after another and each second, as a
// monitor reads them; a site that samples slowly is held, as the loop does.
func course(days int) []frame.Values {
	kinds := nights.Kinds()
	var all []frame.Values
	for seed := uint64(1); len(all) < days*86400; seed++ {
		n := kinds[seed%uint64(len(kinds))].Night(seed)
		var row nights.Row
		begun := len(all)
		for n.Next(&row) {
			for len(all)-begun <= int(row.At/time.Second) {
				all = append(all, frame.Values(row.Values))
			}
		}
	}
	return all[:days*86400]
}

// season is a store of so many days at one row a second, three of them over and over, and how
// many readings it was given.
func season(b *testing.B, days int) (s *site, samples int, fed time.Duration) {
	b.Helper()
	s = begin(b, options(b.TempDir()))
	s.stop()
	again := course(3)
	begun := time.Now()
	for i := range days * 86400 {
		at := time.Duration(i) * time.Second
		s.values = func(time.Duration) frame.Values { return again[i%len(again)] }
		s.tick(at)
		s.Turn()
		for _, x := range again[i%len(again)] {
			if !math.IsNaN(x) {
				samples++
			}
		}
	}
	s.commitHere()
	return s, samples, time.Since(begun)
}

// BenchmarkSteady is the load by which storage engines were compared: five thermocouples at
// 0.25 °C, two temperatures at 1/16 °C, a draft at 0.1 Pa with a noise of 0.5 Pa, and the
// weather.
func BenchmarkSteady(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	const days = 7
	for b.Loop() {
		s := begin(b, options(b.TempDir()))
		s.stop()
		s.values = func(at time.Duration) frame.Values {
			var v frame.Values
			for c := range v {
				x := 200 + 30*float64(c) + 100*math.Sin(at.Hours()+float64(c)) + 0.15*r.NormFloat64()
				v[c] = math.Round(x*4) / 4
			}
			v[frame.Room] = math.Round(16*(20+math.Sin(at.Hours()/9)+0.03*r.NormFloat64())) / 16
			v[frame.Outdoor] = math.Round(16*(-5+3*math.Sin(at.Hours()/4)+0.03*r.NormFloat64())) / 16
			v[frame.Draft] = math.Round(10*(12+3*math.Sin(at.Hours())+0.5*r.NormFloat64())) / 10
			v[frame.Ambient] = 97_000 + math.Round(200*math.Sin(at.Hours()/30)+2*r.NormFloat64())
			return v
		}
		for i := range days * 86400 {
			s.tick(time.Duration(i) * time.Second)
			s.Turn()
		}
		s.close()
		info, err := os.Stat(s.Health().Path)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(info.Size())/float64(days*86400*9), "B/sample-on-disk")
	}
}

// commitHere writes in this goroutine.
func (s *site) commitHere() {
	s.t.Helper()
	done := make(chan error, 1)
	go func() { done <- s.Commit(context.Background()) }()
	for {
		select {
		case err := <-done:
			if err != nil {
				s.t.Fatal(err)
			}
			return
		default:
			s.Turn()
		}
	}
}

func BenchmarkSeason(b *testing.B) {
	days := 7
	if os.Getenv("FLUEWRIGHT_SEASON") != "" {
		days = 200
	}
	s, samples, fed := season(b, days)
	info, err := os.Stat(s.Health().Path)
	if err != nil {
		b.Fatal(err)
	}
	end := noon.Add(time.Duration(days) * 24 * time.Hour)
	all := frame.All()
	for _, q := range []struct {
		name     string
		span     time.Duration
		columns  int
		channels []frame.Channel
	}{
		{"1h/1", time.Hour, 1000, all[2:3]},
		{"24h/1", 24 * time.Hour, 1000, all[2:3]},
		{"24h/9", 24 * time.Hour, 1000, all},
		{"all/1", time.Duration(days) * 24 * time.Hour, 1000, all[2:3]},
		{"all/9", time.Duration(days) * 24 * time.Hour, 1000, all},
	} {
		b.Run(q.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := s.Trend(context.Background(), history.Window{From: end.Add(-q.span), To: end, Columns: q.columns, Channels: q.channels}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/1000/float64(b.N), "ms/trend")
			b.ReportMetric(float64(info.Size())/float64(samples), "B/sample-on-disk")
			b.ReportMetric(float64(info.Size())/1e6, "MB")
			b.ReportMetric(float64(samples)/float64(days*86400), "channels")
			b.ReportMetric(fed.Seconds()/float64(samples)*1e6, "s/1e6-samples")
		})
	}
}

func BenchmarkOffer(b *testing.B) {
	s := begin(b, options(b.TempDir()))
	s.stop()
	st := s.status(0)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		st.Frame.At = time.Duration(i) * time.Second
		s.Offer(st)
	}
}
