package enrol

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"fluewright/daemon/internal/atomicfile"
)

const (
	// Soon is how long before its end a certificate is due to be renewed.
	Soon = 30 * 24 * time.Hour
	// early is by how much a clock may be behind that of the authority.
	early = time.Hour
	// most bounds what is read as a certificate.
	most = 64 << 10
)

// Clock is what time it is, and whether that is known.
type Clock struct {
	Now     time.Time
	Trusted bool
}

// Refusal says why a certificate is not taken; all reasons at once.
type Refusal []string

func (r Refusal) Error() string { return strings.Join(r, "\n") }

// Install takes a certificate with its chain, PEM, for the key that waits for it. roots are
// what the authority's root is, PEM, which is kept beside it for the broker's own certificate
// if keepRoots says so. Notes are what could not be told. If anything is wrong nothing is
// changed, and the error is a Refusal.
func Install(dir, site string, text, roots []byte, keepRoots bool, clock Clock) (notes []string, err error) {
	present, err := load(dir)
	if err != nil {
		return nil, err
	}
	if present.next == nil && present.key == nil {
		return nil, Refusal{"there is no key here whose certificate it could be; fluewright enrol makes one, and the request for it"}
	}
	all, refusal := given(text)
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(roots) {
		refusal = append(refusal, "the file of the root holds no certificate in PEM")
	}
	if len(refusal) > 0 {
		return nil, refusal
	}
	leaf, key := match(all, present.next, present.key)
	if leaf == nil {
		return nil, Refusal{"it is for another key than this board's; sign the request that fluewright enrol prints here"}
	}
	chain, notes, refusal := judge(leaf, all, pool, site, clock)
	if len(refusal) > 0 {
		return nil, refusal
	}
	if keepRoots {
		if err := atomicfile.Write(dir, RootFile, roots); err != nil {
			return nil, fmt.Errorf("keep root: %w", err)
		}
	}
	if present.leaf != nil && present.leaf.Equal(leaf) {
		return append(notes, "it was installed already"), nil
	}
	return notes, store(dir, chain, key)
}

// given reads what somebody gives as a certificate.
func given(text []byte) (all []*x509.Certificate, r Refusal) {
	if len(text) > most {
		return nil, Refusal{"it is far too long for a certificate"}
	}
	for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
		if strings.HasSuffix(block.Type, "PRIVATE KEY") {
			return nil, Refusal{"it holds a private key: whoever had it on the way can be this monitor. Throw it away; keys are made here and stay here"}
		}
	}
	all, err := certificates(text)
	if err != nil {
		return nil, Refusal{err.Error()}
	}
	return all, nil
}

// match finds the certificate of one of the keys, the one that waits before the present one.
func match(all []*x509.Certificate, keys ...*ecdsa.PrivateKey) (*x509.Certificate, *ecdsa.PrivateKey) {
	for _, key := range keys {
		for _, c := range all {
			if key != nil && key.PublicKey.Equal(c.PublicKey) {
				return c, key
			}
		}
	}
	return nil, nil
}

// judge holds a certificate against what the broker will ask of it.
func judge(leaf *x509.Certificate, all []*x509.Certificate, roots *x509.CertPool, site string, clock Clock) (chain []*x509.Certificate, notes []string, r Refusal) {
	if leaf.Subject.CommonName != site {
		r = append(r, fmt.Sprintf("it is for %q, and this site is %q", leaf.Subject.CommonName, site))
	}
	if leaf.IsCA {
		r = append(r, "it is an authority's: with its key others could be made")
	}
	switch {
	case !clock.Trusted:
		notes = append(notes, fmt.Sprintf("the clock is not known to be right, so whether it holds now cannot be told: it does from %s to %s", day(leaf.NotBefore), day(leaf.NotAfter)))
	case !clock.Now.Before(leaf.NotAfter):
		r = append(r, "it has ended on "+day(leaf.NotAfter))
	case clock.Now.Add(early).Before(leaf.NotBefore):
		r = append(r, "it does not hold before "+day(leaf.NotBefore))
	}
	others := x509.NewCertPool()
	for _, c := range all {
		others.AddCert(c)
	}
	// Its own time is looked at above, in words; here it is that of the chain.
	at := clock.Now
	if !clock.Trusted || at.Before(leaf.NotBefore) || at.After(leaf.NotAfter) {
		at = leaf.NotBefore
	}
	chains, err := leaf.Verify(x509.VerifyOptions{
		Roots: roots, Intermediates: others, CurrentTime: at, KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth},
	})
	var unknown x509.UnknownAuthorityError
	var invalid x509.CertificateInvalidError
	switch {
	case errors.As(err, &unknown):
		return nil, notes, append(r, "it is not signed below the root that was given, or the certificates between are missing: they belong behind it in the same file")
	case errors.As(err, &invalid) && invalid.Reason == x509.IncompatibleUsage:
		return nil, notes, append(r, "it is not for a client: the broker would refuse it")
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return nil, notes, append(r, "what signed it does not hold now")
	case err != nil:
		return nil, notes, append(r, err.Error())
	}
	found := chains[0]
	if len(found) > 1 {
		found = found[:len(found)-1] // the broker has the root
	}
	return found, notes, r
}

// serial is the number as authorities name their files: whole bytes.
func serial(c *x509.Certificate) string { return fmt.Sprintf("%X", c.SerialNumber.Bytes()) }

func day(t time.Time) string { return t.UTC().Format("2006-01-02 15:04 UTC") }

// Held is how a site is enrolled.
type Held struct {
	Site string `json:"site"`
	// Enrolled says that there is a certificate, Awaited that a key waits for one.
	Enrolled bool `json:"enrolled"`
	Awaited  bool `json:"awaited"`
	// Identity is the file that holds certificate and key.
	Identity string     `json:"identity_file,omitempty"`
	Issuer   string     `json:"issuer,omitempty"`
	Serial   string     `json:"serial,omitempty"`
	Begins   *time.Time `json:"not_before,omitempty"`
	Ends     *time.Time `json:"not_after,omitempty"`
	// Fingerprint is that of its public key.
	Fingerprint string   `json:"key_sha256,omitempty"`
	Problems    []string `json:"problems"`
	Notes       []string `json:"notes"`
}

// Look says how a site is enrolled, and what is wrong with that. Without roots the chain is not
// looked at.
func Look(dir, site string, roots []byte, clock Clock) (Held, error) {
	h := Held{Site: site, Problems: []string{}, Notes: []string{}}
	present, err := load(dir)
	if err != nil {
		return h, err
	}
	h.Awaited = present.next != nil
	if present.leaf == nil {
		h.Problems = append(h.Problems, "there is no certificate")
		return h, nil
	}
	leaf := present.leaf
	h.Enrolled, h.Identity, h.Issuer, h.Serial = true, filepath.Join(dir, IdentityFile), leaf.Issuer.String(), serial(leaf)
	h.Begins, h.Ends = &leaf.NotBefore, &leaf.NotAfter
	if h.Fingerprint, err = fingerprint(leaf.PublicKey); err != nil {
		return h, err
	}
	if !present.key.PublicKey.Equal(leaf.PublicKey) {
		h.Problems = append(h.Problems, "certificate and key do not belong together")
	}
	pool := x509.NewCertPool()
	if len(bytes.TrimSpace(roots)) == 0 {
		h.Notes = append(h.Notes, "no root was given, so what it is signed by was not looked at")
		pool.AddCert(leaf)
	} else if !pool.AppendCertsFromPEM(roots) {
		h.Problems = append(h.Problems, "the file of the root holds no certificate in PEM")
		return h, nil
	}
	_, notes, refusal := judge(leaf, present.chain, pool, site, clock)
	h.Notes, h.Problems = append(h.Notes, notes...), append(h.Problems, refusal...)
	if left := leaf.NotAfter.Sub(clock.Now); clock.Trusted && left > 0 && left <= Soon {
		h.Problems = append(h.Problems, fmt.Sprintf("it ends on %s, in %d days: fluewright enrol --renew", day(leaf.NotAfter), int(left/(24*time.Hour))))
	}
	return h, nil
}
