// Command vulngate reads govulncheck's JSON and fails if the program calls a function of
// a module that is known to be vulnerable. Findings in the standard library are printed.
package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
)

type message struct {
	Finding *struct {
		OSV          string `json:"osv"`
		FixedVersion string `json:"fixed_version"`
		Trace        []struct {
			Module   string `json:"module"`
			Version  string `json:"version"`
			Function string `json:"function"`
		} `json:"trace"`
	} `json:"finding"`
}

func main() {
	failed, err := gate(os.Stdin, os.Stdout)
	if err != nil {
		fmt.Fprintln(os.Stderr, "vulngate:", err)
	}
	if err != nil || failed {
		os.Exit(1)
	}
}

// gate prints each finding once and reports whether one is in a module.
func gate(in io.Reader, out io.Writer) (failed bool, err error) {
	seen := map[string]bool{}
	messages := 0
	for dec := json.NewDecoder(in); ; messages++ {
		var m message
		if err := dec.Decode(&m); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return failed, fmt.Errorf("read report: %w", err)
		}
		// Only a finding whose trace begins in a function is called by us.
		if m.Finding == nil || len(m.Finding.Trace) == 0 || m.Finding.Trace[0].Function == "" || seen[m.Finding.OSV] {
			continue
		}
		seen[m.Finding.OSV] = true
		at := m.Finding.Trace[0]
		fmt.Fprintf(out, "%s: %s@%s %s, fixed in %q\n", m.Finding.OSV, at.Module, at.Version, at.Function, m.Finding.FixedVersion)
		failed = failed || at.Module != "stdlib"
	}
	if messages == 0 {
		return true, errors.New("the report is empty")
	}
	return failed, nil
}
