// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

func (a *app) technicianCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "technician", Short: "Who may sign in to the bench pages",
		Long: `Who may sign in to the bench pages. A password is asked for on the terminal, or
read as one line from standard input. With --link a link is printed instead,
with which the technician sets a password once, within the hour.`,
		Args: cobra.NoArgs,
	}
	cmd.AddCommand(a.technicianAdd(), a.technicianList(), a.technicianPassword(), a.technicianRemove())
	return cmd
}

func (a *app) technicianAdd() *cobra.Command {
	var link bool
	cmd := &cobra.Command{
		Use: "add NAME", Short: "Let a technician sign in",
		Example: `  fillmark technician add mo --link`,
		Args:    oneName,
		RunE: func(cmd *cobra.Command, args []string) error {
			asked := web.NewTechnician{Name: args[0]}
			if err := (loops.Technician{Name: asked.Name}).Validate(); err != nil {
				return err
			}
			var err error
			if !link {
				if asked.Password, err = a.readPassword(); err != nil {
					return err
				}
				if err := signin.CheckPassword(asked.Password); err != nil {
					return err
				}
			}
			added, err := ask[loops.Technician](cmd.Context(), a, http.MethodPost, "/api/v1/technicians", asked)
			if err != nil {
				return err
			}
			if link {
				return a.printLink(cmd, added.Name, technicianPath(added.Name)+"/link")
			}
			return a.print(added, func(p *printer) { p.line("%s may sign in.", added.Name) })
		},
	}
	cmd.Flags().BoolVar(&link, "link", false, "print a link that sets the password, once")
	return cmd
}

func (a *app) technicianPassword() *cobra.Command {
	var link bool
	cmd := &cobra.Command{
		Use: "password NAME | --link", Short: "Set a technician's password, which ends their sign-ins, or print a link for it",
		Long: `Set a technician's password, which ends their sign-ins. With --link print a link
with which they set it themselves, once; without a name that is the link for the
first technician, while nobody has a password.`,
		Example: `  fillmark technician password mo
  fillmark technician password --link`,
		Args: func(cmd *cobra.Command, args []string) error {
			if link && len(args) == 0 {
				return nil
			}
			return oneName(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case link && len(args) == 0:
				return a.printLink(cmd, "The first technician", "/api/v1/first-link")
			case link:
				return a.printLink(cmd, args[0], technicianPath(args[0])+"/link")
			}
			password, err := a.readPassword()
			if err != nil {
				return err
			}
			return tell(cmd.Context(), a, http.MethodPost, technicianPath(args[0])+"/password", web.NewPassword{Password: password}, func(p *printer, changed loops.Technician) {
				p.line("%s has a new password and is signed out everywhere.", changed.Name)
			})
		},
	}
	cmd.Flags().BoolVar(&link, "link", false, "print a link that sets the password, once")
	return cmd
}

func (a *app) technicianList() *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List the technicians",
		Example: `  fillmark technician list`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return tell(cmd.Context(), a, http.MethodGet, "/api/v1/technicians", nil, func(p *printer, all struct {
				Items []loops.Technician `json:"items"`
			}) {
				if len(all.Items) == 0 {
					p.line("No technicians yet: fillmark technician password --link prints the link with which the first sets a password.")
				}
				for _, t := range all.Items {
					password := "no password yet"
					if !t.PasswordSet.IsZero() {
						password = "password set " + t.PasswordSet.Format("2006-01-02")
					}
					p.line("%-30s  %s", t.Name, password)
				}
			})
		},
	}
}

func (a *app) technicianRemove() *cobra.Command {
	return &cobra.Command{
		Use: "remove NAME", Short: "Remove a technician's sign-in",
		Example: `  fillmark technician remove mo`,
		Args:    oneName,
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := ask[struct{}](cmd.Context(), a, http.MethodDelete, technicianPath(args[0]), nil); err != nil {
				return err
			}
			return a.print(map[string]string{"removed": args[0]}, func(p *printer) {
				p.line("%s may sign in no longer. What they did stays recorded under their name.", args[0])
			})
		},
	}
}

// oneName wants exactly one argument, a technician's name.
func oneName(cmd *cobra.Command, args []string) error {
	return exactlyOne("the technician's name, in quotation marks where it has blanks")(cmd, args)
}

func technicianPath(name string) string { return "/api/v1/technicians/" + url.PathEscape(name) }

func (a *app) printLink(cmd *cobra.Command, name, path string) error {
	return tell(cmd.Context(), a, http.MethodPost, path, struct{}{}, func(p *printer, link web.PasswordLink) {
		p.line("%s sets a password here, once, within the hour:", name)
		p.line("%s", link.Link)
	})
}

// readPassword asks twice on a terminal, and else takes the first line of
// standard input.
func (a *app) readPassword() (string, error) {
	file, ok := a.in.(*os.File)
	if !ok || !term.IsTerminal(int(file.Fd())) {
		line, err := bufio.NewReader(io.LimitReader(a.in, 4096)).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", fmt.Errorf("password: %w", err)
		}
		return strings.TrimRight(line, "\r\n"), nil
	}
	first, err := a.askSecret(file, "Password: ")
	if err != nil {
		return "", err
	}
	again, err := a.askSecret(file, "The same again: ")
	if err == nil && first != again {
		err = &usageError{errors.New("password: two different ones; the same twice is right")}
	}
	return first, err
}

func (a *app) askSecret(terminal *os.File, question string) (string, error) {
	fmt.Fprint(a.errOut, question)
	secret, err := term.ReadPassword(int(terminal.Fd()))
	fmt.Fprintln(a.errOut)
	if err != nil {
		return "", fmt.Errorf("password: %w", err)
	}
	return string(secret), nil
}
