package broker

import (
	"bytes"
	"io"
	"net"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// A reader that sleeps does not hold its writer up, and is given up when more waits than may.
// One that reads gets every byte in order, and those of before the end.
func TestPatient(t *testing.T) {
	var all atomic.Int64
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		p := newPatient(near, &all)
		began := time.Now()
		chunk := make([]byte, 64<<10)
		n := 0
		for ; ; n++ {
			if _, err := p.Write(chunk); err != nil {
				break
			}
		}
		if took := time.Since(began); n != mostWaiting/len(chunk) || took > 0 {
			t.Errorf("%d were taken, the writer was held up for %v", n, took)
		}
		if _, err := p.Write(nil); err == nil || !p.slow() {
			t.Errorf("it goes on: %v, slow %v", err, p.slow())
		}
		p.end()
		if all.Load() != 0 {
			t.Errorf("%d bytes are counted for ever", all.Load())
		}
		_ = far.Close()
	})
	synctest.Test(t, func(t *testing.T) { // one that does not fall behind so far, and never comes back
		near, far := net.Pipe()
		p := newPatient(near, &all)
		if _, err := p.Write([]byte("x")); err != nil {
			t.Fatal(err)
		}
		time.Sleep(oneWrite)
		synctest.Wait()
		if _, err := p.Write([]byte("x")); err == nil || !p.slow() || all.Load() != 0 {
			t.Errorf("it goes on: %v, slow %v", err, p.slow())
		}
		_ = far.Close()
	})
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		p := newPatient(near, &all)
		var want []byte
		for i := range 1000 {
			b := bytes.Repeat([]byte{byte(i)}, i%37+1)
			want = append(want, b...)
			if _, err := p.Write(b); err != nil {
				t.Fatal(err)
			}
		}
		_ = p.SetDeadline(time.Now()) // is none for writing
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := p.Write(want); err == nil {
			t.Error("written after the end")
		}
		got, err := io.ReadAll(far)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%d bytes, %v, want %d", len(got), err, len(want))
		}
		p.end()
	})
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		p := newPatient(near, &all)
		if _, err := p.Write(make([]byte, 200<<10)); err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		p.end()
		if took := time.Since(began); took > lastWords {
			t.Errorf("the end took %v", took)
		}
		if _, err := p.Read(make([]byte, 1)); err == nil {
			t.Error("read after the end")
		}
		_ = far.Close()
	})
}
