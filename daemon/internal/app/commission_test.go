package app

import (
	"context"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis/chimney"
	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/status"
)

// commissionRun is one run of the program over dir: do is called once the desk has seen
// readings. It ends without saving anything more, as by a power cut.
func commissionRun(t *testing.T, dir string, do func(*commission.Desk)) {
	t.Helper()
	cfg, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	l, _ := ticker(t, shelf{"flue": good(21)})
	h := &house{cfg: cfg, feed: status.NewFeed(), options: Options{State: dir}, log: slog.New(slog.DiscardHandler)}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	h.options.Commission = func(_ context.Context, desk *commission.Desk) error {
		time.Sleep(5 * time.Second)
		do(desk)
		return nil
	}
	h.commissionDesk(l, nil)
	for _, task := range h.tasks {
		go func() { _ = task.run(ctx) }()
	}
	if err := l.run(ctx); err != nil {
		t.Fatal(err)
	}
	synctest.Wait()
}

func TestCommissioningIsFedAndOutlivesAPowerCut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		commissionRun(t, dir, func(d *commission.Desk) {
			if err := d.Begin(false); err != nil {
				t.Error(err)
			}
			time.Sleep(2 * time.Second)
			v, _ := d.View()
			if len(v.Live) != 1 || v.Live[0].Name != "flue" {
				t.Errorf("the readings are %v", v.Live)
			}
			site := d.Site()
			site.Height, site.Diameter, site.Regulator = 7, 0.15, commissioning.Regulator{}
			if err := d.Answer(commissioning.Entry{Kind: commissioning.Give, Step: v.Now, Task: v.Task, Site: &site}); err != nil {
				t.Error(err)
			}
		})
		commissionRun(t, dir, func(d *commission.Desk) {
			if v, ok := d.View(); !ok || v.Now != commissioning.ByEye {
				t.Errorf("after the power cut it stands at %v (%v)", v.Now, ok)
			}
		})
	})
}

// A form begins with what the configuration knows.
func TestTheKnownSite(t *testing.T) {
	cfg, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		wall chimney.Section
		want commissioning.Construction
	}{
		{chimney.InsulatedMetal(0.15, 0.025), commissioning.Insulated},
		{chimney.Masonry(0.2, 0.115), commissioning.Masonry},
		{chimney.SingleWall(0.15), commissioning.SingleWall},
	} {
		s := cfg.Analysis
		c.wall.Length, c.wall.Rise, c.wall.Exposed = 7, 7, 0.9
		s.Chimney.Chimney = c.wall
		site := knownSite(s)
		if site.Construction != c.want || site.Height != 7 || !site.Outside || site.DraftLow != s.DraftLow {
			t.Errorf("%+v", site)
		}
	}
}
