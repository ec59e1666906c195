package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"golang.org/x/term"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/statedir"
)

// accessCmd is for whoever works on the board, and has the right to all of it anyway. It
// works beside the daemon, which takes each change up at once.
type accessCmd struct {
	State string `help:"The monitor's state directory." type:"path" env:"STATE_DIRECTORY" default:"/var/lib/fluewright" placeholder:"DIR"`

	List     accessListCmd     `cmd:"" help:"List who may sign in, and the tokens of programs."`
	Add      accessAddCmd      `cmd:"" help:"Make an account; the password is asked for, or read from standard input."`
	Role     accessRoleCmd     `cmd:"" help:"Give an account another role."`
	Password accessPasswordCmd `cmd:"" help:"Give an account another password, for whoever has lost it; signs it out everywhere."`
	Remove   accessRemoveCmd   `cmd:"" help:"Remove an account."`
	Token    accessTokenCmd    `cmd:"" help:"Make a token for a program, such as Prometheus, and print it: it is shown once."`
	Revoke   accessRevokeCmd   `cmd:"" help:"Remove a program's token."`
}

// open opens the accounts.
func (c *accessCmd) open() (*access.Accounts, error) {
	info, err := os.Stat(c.State)
	if errors.Is(err, fs.ErrNotExist) || err == nil && !info.IsDir() {
		return nil, fmt.Errorf("there is no state directory %s, so no monitor has run here; --state names another one", c.State)
	}
	if err != nil {
		return nil, fmt.Errorf("find the accounts: %w", err)
	}
	place, err := statedir.Find(c.State)
	if err != nil {
		return nil, fmt.Errorf("find the accounts: %w", err)
	}
	a := access.Load(place.Dir)
	return a, a.Err()
}

type accessListCmd struct {
	JSON bool `help:"Print JSON." name:"json"`
}

// Run lists.
func (c *accessListCmd) Run(parent *accessCmd, std streams) error {
	a, err := parent.open()
	if err != nil {
		return err
	}
	people, tokens := a.List(), a.Tokens()
	if c.JSON {
		return printJSON(std.out, struct {
			Accounts []access.Account `json:"accounts"`
			Tokens   []access.Token   `json:"tokens"`
		}{people, tokens})
	}
	if len(people)+len(tokens) == 0 {
		_, err := fmt.Fprintln(std.out, "nobody can sign in yet; fluewright access add NAME --role owner makes the first owner")
		return err
	}
	t := tabwriter.NewWriter(std.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "NAME\tROLE\tSINCE\tSIGNED IN ON")
	for _, p := range people {
		fmt.Fprintf(t, "%s\t%s\t%s\t%d devices\n", p.Name, p.Role, p.Made.Format(time.DateOnly), p.Sessions)
	}
	for _, p := range tokens {
		fmt.Fprintf(t, "%s\t%s\t%s\ttoken of a program\n", p.Name, p.Role, p.Made.Format(time.DateOnly))
	}
	return t.Flush()
}

type accessAddCmd struct {
	Name string `arg:"" help:"Who."`
	Role string `help:"owner, installer, technician or viewer." enum:"owner,installer,technician,viewer" required:"" placeholder:"ROLE"`
}

// Run makes an account.
func (c *accessAddCmd) Run(ctx context.Context, parent *accessCmd, std streams) error {
	a, err := parent.open()
	if err != nil {
		return err
	}
	password, err := newPassword(std)
	if err != nil {
		return err
	}
	if err := a.Add(ctx, c.Name, access.Role(c.Role), password); err != nil {
		return err
	}
	fmt.Fprintf(std.err, "%s can sign in as %s\n", c.Name, c.Role)
	return nil
}

type accessRoleCmd struct {
	Name string `arg:"" help:"Who."`
	Role string `arg:"" help:"owner, installer, technician or viewer." enum:"owner,installer,technician,viewer"`
}

// Run changes a role.
func (c *accessRoleCmd) Run(parent *accessCmd, std streams) error {
	a, err := parent.open()
	if err != nil {
		return err
	}
	if err := a.SetRole(c.Name, access.Role(c.Role)); err != nil {
		return err
	}
	fmt.Fprintf(std.err, "%s is %s now\n", c.Name, c.Role)
	return nil
}

type accessPasswordCmd struct {
	Name string `arg:"" help:"Whose."`
}

// Run changes a password.
func (c *accessPasswordCmd) Run(ctx context.Context, parent *accessCmd, std streams) error {
	a, err := parent.open()
	if err != nil {
		return err
	}
	password, err := newPassword(std)
	if err != nil {
		return err
	}
	if err := a.SetPassword(ctx, c.Name, password); err != nil {
		return err
	}
	fmt.Fprintf(std.err, "%s has a new password, and is signed out everywhere\n", c.Name)
	return nil
}

type accessRemoveCmd struct {
	Name string `arg:"" help:"Who."`
}

// Run removes an account.
func (c *accessRemoveCmd) Run(parent *accessCmd, std streams) error {
	a, err := parent.open()
	if err != nil {
		return err
	}
	if err := a.Remove(c.Name); err != nil {
		return err
	}
	fmt.Fprintf(std.err, "%s cannot sign in any more\n", c.Name)
	return nil
}

type accessTokenCmd struct {
	Name string `arg:"" help:"Which program."`
	Role string `help:"viewer, or technician, who may write notes too." enum:"viewer,technician" default:"viewer" placeholder:"ROLE"`
}

// Run makes a token.
func (c *accessTokenCmd) Run(parent *accessCmd, std streams) error {
	a, err := parent.open()
	if err != nil {
		return err
	}
	token, err := a.AddToken(c.Name, access.Role(c.Role))
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(std.out, token)
	return err
}

type accessRevokeCmd struct {
	Name string `arg:"" help:"Which program's."`
}

// Run removes a token.
func (c *accessRevokeCmd) Run(parent *accessCmd, std streams) error {
	a, err := parent.open()
	if err != nil {
		return err
	}
	if err := a.RemoveToken(c.Name); err != nil {
		return err
	}
	fmt.Fprintf(std.err, "the token of %s is no more\n", c.Name)
	return nil
}

// newPassword asks for a password, twice and without showing it; from a pipe it is the first
// line. It never stands on a command line, which everybody on the machine can read.
func newPassword(std streams) (string, error) {
	f, ok := std.in.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		line, err := bufio.NewReader(io.LimitReader(std.in, 4096)).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", fmt.Errorf("read the password: %w", err)
		}
		return strings.TrimRight(line, "\r\n"), nil
	}
	ask := func(what string) (string, error) {
		fmt.Fprint(std.err, what)
		text, err := term.ReadPassword(int(f.Fd()))
		fmt.Fprintln(std.err)
		if err != nil {
			return "", fmt.Errorf("read the password: %w", err)
		}
		return string(text), nil
	}
	first, err := ask("New password: ")
	if err != nil {
		return "", err
	}
	again, err := ask("Once more: ")
	if err == nil && again != first {
		err = errors.New("the two are not the same; nothing is changed")
	}
	return first, err
}
