package health

import (
	"crypto/tls"
	"crypto/x509"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

const well = `{"status":"ok","tick_age_seconds":0.2,"problems":[],"checks":[{"name":"sampling","state":"ok","message":"every sensor is read"}]}`

func TestFit(t *testing.T) {
	tests := map[string]struct {
		text string
		fit  bool
	}{
		"well":            {well, true},
		"worth a note":    {strings.Replace(well, `"state":"ok"`, `"state":"note"`, 1), true},
		"too early":       {strings.Replace(well, `"state":"ok"`, `"state":"early"`, 1), false},
		"wrong":           {strings.Replace(well, `"state":"ok"`, `"state":"wrong"`, 1), false},
		"not said":        {strings.Replace(well, `"state":"ok",`, "", 1), false},
		"failing":         {strings.Replace(well, `"status":"ok"`, `"status":"failing"`, 1), false},
		"nothing checked": {`{"status":"ok","problems":[]}`, false},
	}
	for name, tt := range tests {
		r, err := read(strings.NewReader(tt.text))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if r.Fit() != tt.fit {
			t.Errorf("%s: fit is %v", name, r.Fit())
		}
	}
}

func TestAsk(t *testing.T) {
	answer, code := well, http.StatusOK
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/healthz" {
			http.NotFound(w, r)
			return
		}
		w.WriteHeader(code)
		_, _ = w.Write([]byte(answer))
	}))
	defer s.Close()
	if r, err := Ask(t.Context(), s.URL, nil); err != nil || !r.Fit() {
		t.Errorf("%v, %+v", err, r)
	}
	answer, code = strings.Replace(well, `"status":"ok"`, `"status":"failing"`, 1), http.StatusServiceUnavailable
	if r, err := Ask(t.Context(), s.URL, nil); err != nil || r.Fit() || len(r.Checks) != 1 {
		t.Errorf("one that fails: %v, %+v", err, r)
	}
	for _, other := range []string{"<html>", "{}", strings.Repeat(" ", most) + well} {
		answer, code = other, http.StatusOK
		if _, err := Ask(t.Context(), s.URL, nil); err == nil {
			t.Errorf("%.20q passes for a report", other)
		}
	}
	s.Close()
	for page, want := range map[string]string{s.URL: "does not run", "http://127.0.0.1:0": "give web.listen a port"} {
		if _, err := Ask(t.Context(), page, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", page, err)
		}
	}
}

// An encrypted page is asked under the trust that is given.
func TestAskEncrypted(t *testing.T) {
	s := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte(well)) }))
	defer s.Close()
	pool := x509.NewCertPool()
	pool.AddCert(s.Certificate())
	if r, err := Ask(t.Context(), s.URL, &tls.Config{RootCAs: pool}); err != nil || !r.Fit() {
		t.Errorf("%v, %+v", err, r)
	}
	if _, err := Ask(t.Context(), s.URL, nil); err == nil {
		t.Error("a stranger's certificate is taken")
	}
}

func FuzzReport(f *testing.F) {
	f.Add(well)
	f.Add(`{"status":"ok","checks":[{}]}`)
	f.Fuzz(func(t *testing.T, text string) {
		r, err := read(strings.NewReader(text))
		if err != nil {
			return
		}
		if r.Fit() && (r.Status != "ok" || len(r.Checks) == 0) {
			t.Errorf("%q is fit", text)
		}
	})
}
