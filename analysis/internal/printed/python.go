package printed

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// Python runs a script under Debian's python3, where the packages python3-iapws and
// python3-fluids live, and reads the JSON that it prints. Without them the test is
// skipped, or fails where FLUEWRIGHT_REAL says that they have to be there.
func Python(t testing.TB, script string, into any) {
	t.Helper()
	cmd := exec.Command("/usr/bin/python3", "-c", script)
	var fault bytes.Buffer
	cmd.Stderr = &fault
	data, err := cmd.Output()
	if err != nil {
		missing := strings.Contains(fault.String(), "No module named") || cmd.ProcessState == nil
		if missing && os.Getenv("FLUEWRIGHT_REAL") != "1" {
			t.Skipf("python3 or its library is not there: %v", err)
		}
		t.Fatalf("run python3: %v\n%s", err, fault.String())
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatalf("read what python3 printed: %v", err)
	}
}
