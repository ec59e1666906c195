package main

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"fluewright/daemon/internal/mqtt"
)

// through is the part of a command line that says which broker to go through, and as whom.
type through struct {
	Broker string `help:"Ask through this broker, tcp://HOST:PORT or ssl://HOST:PORT." group:"From elsewhere" placeholder:"URL"`
	User   string `help:"User at the broker." group:"From elsewhere" placeholder:"NAME"`
	// Secrets come from files: a command line can be read by everybody on the machine.
	PasswordFile string `help:"File with the password at the broker." type:"path" group:"From elsewhere" placeholder:"FILE"`
	Root         string `help:"What the broker's topics begin with." default:"fluewright" group:"From elsewhere" placeholder:"TOPIC"`
	CAFile       string `help:"Certificates that may sign the broker's, or the page's." name:"ca-file" type:"path" group:"From elsewhere" placeholder:"FILE"`
	CertFile     string `help:"Own certificate for the broker." type:"path" group:"From elsewhere" placeholder:"FILE"`
	KeyFile      string `help:"Its key." type:"path" group:"From elsewhere" placeholder:"FILE"`
}

// check refuses what does not go together.
func (b *through) check() error {
	switch {
	case (b.CertFile == "") != (b.KeyFile == ""):
		return errors.New("--cert-file and --key-file go together")
	case b.PasswordFile != "" && b.User == "":
		return errors.New("--password-file wants --user too")
	}
	return nil
}

// options reads the password.
func (b *through) options() (mqtt.CallOptions, error) {
	o := mqtt.CallOptions{Root: b.Root, Broker: b.Broker, User: b.User, CAFile: b.CAFile, CertFile: b.CertFile, KeyFile: b.KeyFile}
	if b.PasswordFile != "" {
		secret, err := os.ReadFile(b.PasswordFile)
		if err != nil {
			return o, fmt.Errorf("read the broker's password: %w", err)
		}
		o.Password = strings.TrimRight(string(secret), "\r\n")
	}
	return o, nil
}
