package app

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/notify/notifytest"
)

// What is asked for through the broker goes to the owner's telephone and says what came back.
func TestATestAlertReachesTheTelephone(t *testing.T) {
	server := notifytest.Start(t)
	c := newCommands(slog.New(slog.DiscardHandler))
	c.test = tester(household(t, server.URL))
	pressed := make(chan error, 1)
	go func() {
		in := <-server.Arrived
		pressed <- in.Press()
	}()
	a, err := c.testAlert(t.Context(), &command.Request{Name: command.TestAlert, ID: "12345678"})
	if err != nil {
		t.Fatal(err)
	}
	if err := <-pressed; err != nil {
		t.Fatal(err)
	}
	if len(a.Tried) != 1 {
		t.Fatalf("%+v", a)
	}
	if got := a.Tried[0]; got.Person != "owner" || got.Transport != "phone" || !got.Sent || !got.Asked || !got.Acknowledged || got.Error != "" {
		t.Errorf("%+v", got)
	}
}

func TestTestAlertsAreFew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCommands(slog.New(slog.DiscardHandler))
		sent := 0
		c.test = func(context.Context) ([]command.Tried, error) { sent++; return nil, nil }
		ask := func() command.Reason {
			var refused *command.Refusal
			if _, err := c.testAlert(t.Context(), &command.Request{Name: command.TestAlert}); errors.As(err, &refused) {
				return refused.Reason
			} else if err != nil {
				t.Fatal(err)
			}
			return ""
		}
		for i := range 10 {
			want := command.Reason("")
			if i >= mostTested {
				want = command.TooOften
			}
			if got := ask(); got != want {
				t.Errorf("the %d. within the hour: %q, want %q", i+1, got, want)
			}
			time.Sleep(time.Minute)
		}
		time.Sleep(testedWithin - 10*time.Minute)
		if got := ask(); got != "" || sent != mostTested+1 {
			t.Errorf("an hour later: %q, %d were sent", got, sent)
		}
	})
}

func TestNobodyToTest(t *testing.T) {
	c := newCommands(slog.New(slog.DiscardHandler))
	c.test = tester(config.Default())
	var refused *command.Refusal
	if _, err := c.testAlert(t.Context(), &command.Request{Name: command.TestAlert}); !errors.As(err, &refused) || refused.Reason != command.Nothing {
		t.Errorf("%v", err)
	}
}
