package remotewrite

import (
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/exp/api/remote"
	writev2 "github.com/prometheus/client_golang/exp/api/remote/genproto/v2"
	"google.golang.org/protobuf/proto"
)

// shelf is a store behind the receiver of Prometheus's own library.
type shelf struct {
	mu       sync.Mutex
	requests []*writev2.Request
	fault    error
}

func (s *shelf) Store(r *http.Request, _ remote.WriteMessageType) (*remote.WriteResponse, error) {
	body, err := io.ReadAll(r.Body)
	s.mu.Lock()
	defer s.mu.Unlock()
	one := &writev2.Request{}
	if err == nil {
		err = proto.UnmarshalOptions{}.Unmarshal(body, one)
	}
	answer := remote.NewWriteResponse()
	if err != nil {
		s.fault = err
		answer.SetStatusCode(http.StatusBadRequest)
		return answer, err
	}
	s.requests = append(s.requests, one)
	stats := remote.WriteResponseStats{}
	for _, series := range one.Timeseries {
		stats.Samples += len(series.Samples)
	}
	answer.Add(stats)
	answer.SetStatusCode(http.StatusNoContent)
	return answer, nil
}

// Prometheus's own library reads what is written by hand as 2.0, takes it under the same
// labels, and finds nothing that it does not know. The sender was begun with 1.0, which this
// receiver refuses.
func TestTheLibraryReadsIt(t *testing.T) {
	store := &shelf{}
	desk := httptest.NewServer(remote.NewWriteHandler(store, remote.MessageTypes{remote.WriteV2MessageType}))
	defer desk.Close()
	p, start := minutes(t, 3)
	s, _ := run(t, destination(desk.URL, p))
	drained(t, s)
	store.mu.Lock()
	defer store.mu.Unlock()
	if store.fault != nil {
		t.Fatal(store.fault)
	}
	var flue []sample
	for _, r := range store.requests {
		if len(r.ProtoReflect().GetUnknown()) > 0 || r.Symbols[0] != "" {
			t.Fatal("there is something that the library does not know")
		}
		for _, one := range r.Timeseries {
			labels := writev2.DesymbolizeLabels(one.LabelsRefs, r.Symbols, nil)
			if len(one.ProtoReflect().GetUnknown()) > 0 || !sorted(labels) || one.Metadata.GetType() != writev2.Metadata_METRIC_TYPE_GAUGE {
				t.Fatalf("%v: %v", labels, one)
			}
			if slices.Equal(labels, []string{"__name__", "fluewright_temperature_celsius", "channel", "flue", "site", "cellar-7"}) {
				for _, v := range one.Samples {
					flue = append(flue, sample{v.Timestamp, v.Value})
				}
			}
			for _, v := range one.Samples {
				if math.IsNaN(v.Value) && math.Float64bits(v.Value) != math.Float64bits(ended) {
					t.Fatalf("%v is no number", labels)
				}
			}
		}
	}
	equal(t, flue, each(start, 3))
	if st := s.Stats(); st.Dropped[refusedPart] > 0 || st.Requests["other-version"] != 1 || st.LastTaken.Before(start.Add(time.Minute)) {
		t.Errorf("%+v", st)
	}
}

// sorted reports whether the names of labels rise.
func sorted(labels []string) bool {
	for i := 2; i < len(labels); i += 2 {
		if labels[i] <= labels[i-2] {
			return false
		}
	}
	return true
}
