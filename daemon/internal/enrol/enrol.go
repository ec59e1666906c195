// Package enrol gives a monitor the certificate by which a broker knows it. The key is made on
// the board and never leaves it: what goes out is a request (PKCS#10), what comes back is a
// certificate with its chain. It is taken only if the broker will take it, as far as that can
// be told here.
//
// Key and certificates lie in one file, so that they change together: a power cut leaves the
// old pair or the new one. Until a certificate is there the key waits beside it.
package enrol

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"fluewright/daemon/internal/atomicfile"
)

// The files, in the state directory.
const (
	// IdentityFile holds the certificate, its chain and the key.
	IdentityFile = "mqtt-identity.pem"
	// RootFile holds the root that the broker's certificate and ours are signed below.
	RootFile = "mqtt-ca.pem"
	// nextKeyFile holds a key whose certificate is not there yet.
	nextKeyFile = "mqtt-next-key.pem"
)

// ErrEnrolled says that there is a certificate already, and that nobody asked for another.
var ErrEnrolled = errors.New("there is a certificate already")

// Request is what goes to the authority.
type Request struct {
	// PEM is the request. It holds no secret.
	PEM string
	// Fingerprint is the SHA-256 of the public key (SubjectPublicKeyInfo, DER) in hexadecimal,
	// to be compared by telephone.
	Fingerprint string
	// Made says that the key is a new one, and not one whose certificate is still awaited.
	Made bool
}

// Ask makes a key, unless one waits for its certificate already, and a request for a site. A
// second certificate is asked for only with renew; ErrEnrolled otherwise.
func Ask(dir, site string, renew bool) (r Request, err error) {
	present, err := load(dir)
	if err != nil {
		return r, err
	}
	if present.leaf != nil && present.next == nil && !renew {
		return r, ErrEnrolled
	}
	key := present.next
	if present.spent {
		if err := os.Remove(filepath.Join(dir, nextKeyFile)); err != nil {
			return r, fmt.Errorf("clear away: %w", err)
		}
	}
	if key == nil {
		if key, err = makeKey(dir); err != nil {
			return r, err
		}
		r.Made = true
	}
	template := &x509.CertificateRequest{Subject: pkix.Name{CommonName: site}, DNSNames: []string{site}}
	der, err := x509.CreateCertificateRequest(rand.Reader, template, key)
	if err != nil {
		return r, fmt.Errorf("make request: %w", err)
	}
	r.PEM = string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE REQUEST", Bytes: der}))
	r.Fingerprint, err = fingerprint(&key.PublicKey)
	return r, err
}

func fingerprint(key any) (string, error) {
	der, err := x509.MarshalPKIXPublicKey(key)
	if err != nil {
		return "", fmt.Errorf("read public key: %w", err)
	}
	sum := sha256.Sum256(der)
	return hex.EncodeToString(sum[:]), nil
}

// makeKey makes the key that waits. It never replaces one.
func makeKey(dir string) (*ecdsa.PrivateKey, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("make key: %w", err)
	}
	text, err := keyPEM(key)
	if err != nil {
		return nil, err
	}
	const fresh = nextKeyFile + ".fresh"
	if err := atomicfile.WritePrivate(dir, fresh, text); err != nil {
		return nil, fmt.Errorf("keep key: %w", err)
	}
	// A rename would replace what somebody else has made meanwhile.
	err = os.Link(filepath.Join(dir, fresh), filepath.Join(dir, nextKeyFile))
	if err = errors.Join(err, os.Remove(filepath.Join(dir, fresh)), sync(dir)); err != nil {
		return nil, fmt.Errorf("keep key: %w", err)
	}
	return key, nil
}

func sync(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

func keyPEM(key *ecdsa.PrivateKey) ([]byte, error) {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, fmt.Errorf("write key: %w", err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), nil
}

// folder is what a state directory holds of this.
type folder struct {
	leaf  *x509.Certificate // nil: not enrolled
	chain []*x509.Certificate
	key   *ecdsa.PrivateKey // of the certificate
	next  *ecdsa.PrivateKey // whose certificate is awaited; nil: none is
	// spent says that the key that waits has its certificate: the power went before it was
	// cleared away.
	spent bool
}

func load(dir string) (f folder, err error) {
	text, err := read(dir, IdentityFile)
	if err != nil {
		return f, err
	}
	if text != nil {
		if f.key, err = keyOf(text); err != nil {
			return f, fmt.Errorf("read %s: %w", filepath.Join(dir, IdentityFile), err)
		}
		all, err := certificates(text)
		if err != nil {
			return f, fmt.Errorf("read %s: %w", filepath.Join(dir, IdentityFile), err)
		}
		f.leaf, f.chain = all[0], all[1:]
	}
	if text, err = read(dir, nextKeyFile); err != nil || text == nil {
		return f, err
	}
	if f.next, err = keyOf(text); err != nil {
		return f, fmt.Errorf("read %s: %w", filepath.Join(dir, nextKeyFile), err)
	}
	if f.key != nil && f.next.Equal(f.key) {
		f.next, f.spent = nil, true
	}
	return f, nil
}

// read reads a file; nil where there is none.
func read(dir, name string) ([]byte, error) {
	text, err := os.ReadFile(filepath.Join(dir, name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read what is there: %w", err)
	}
	return text, nil
}

func keyOf(text []byte) (*ecdsa.PrivateKey, error) {
	for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
		if block.Type != "PRIVATE KEY" {
			continue
		}
		key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
		if err != nil {
			return nil, errors.New("the key is damaged") // the error itself could quote it
		}
		if k, ok := key.(*ecdsa.PrivateKey); ok {
			return k, nil
		}
		return nil, errors.New("the key is of another kind than this program makes")
	}
	return nil, errors.New("there is no key in it")
}

// certificates are those of a text in PEM, at least one.
func certificates(text []byte) (all []*x509.Certificate, err error) {
	for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
		if block.Type != "CERTIFICATE" {
			continue
		}
		c, err := x509.ParseCertificate(block.Bytes)
		if err != nil {
			return nil, fmt.Errorf("the certificate is damaged: %w", err)
		}
		all = append(all, c)
	}
	if len(all) == 0 {
		return nil, errors.New("there is no certificate in it")
	}
	return all, nil
}

// store puts certificate, chain and key into their place, and clears the key away that waited.
func store(dir string, chain []*x509.Certificate, key *ecdsa.PrivateKey) error {
	var text bytes.Buffer
	for _, c := range chain {
		_ = pem.Encode(&text, &pem.Block{Type: "CERTIFICATE", Bytes: c.Raw}) // never fails here
	}
	secret, err := keyPEM(key)
	if err != nil {
		return err
	}
	text.Write(secret)
	if err := atomicfile.WritePrivate(dir, IdentityFile, text.Bytes()); err != nil {
		return fmt.Errorf("keep certificate: %w", err)
	}
	if err := os.Remove(filepath.Join(dir, nextKeyFile)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("clear away: %w", err)
	}
	return sync(dir)
}
