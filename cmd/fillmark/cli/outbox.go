// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

func (a *app) outboxCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "outbox", Short: "Outbox: mail written, waiting, delivered and come back", Args: cobra.NoArgs}
	cmd.AddCommand(
		a.outboxListCommand(), a.outboxShowCommand(),
		a.outboxActCommand(workshop.Retry, "Retry a message that waits, was refused or has expired"),
		a.outboxActCommand(workshop.Hold, "Hold a waiting message"),
		a.outboxActCommand(workshop.Release, "Release a message that was held"),
		a.outboxActCommand(workshop.Drop, "Drop a message: it is not sent"),
		a.allowCommand(),
	)
	return cmd
}

func (a *app) outboxListCommand() *cobra.Command {
	var status string
	cmd := &cobra.Command{
		Use: "list", Short: "List the messages, newest first",
		Example: `  fillmark outbox list --status queued`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if status != "" {
				if _, err := choice("status", loops.MessageStatuses())(status); err != nil {
					return err
				}
			}
			return tell(cmd.Context(), a, "GET", "/api/v1/outbox?status="+queryEscape(status), nil, func(p *printer, messages items[loops.Message]) {
				p.line("%s.", plural(len(messages.Items), "message"))
				p.list([]string{"key", "status", "to", "subject"}, len(messages.Items), func(i int) []string {
					m := messages.Items[i]
					return []string{string(m.Key), string(m.Status), m.To, m.Subject}
				})
				for _, m := range messages.Items {
					if why := m.Why(); why != "" {
						p.paragraph("", "  ", fmt.Sprintf("%s is %s: %s.", m.Key, m.Status, strings.TrimRight(why, ".")))
					}
				}
			})
		},
	}
	cmd.Flags().StringVar(&status, "status", "", "only `STATUS`: queued, held, delivered, refused, expired, dropped or withdrawn")
	offer(cmd.Flags(), "status", loops.MessageStatuses())
	return cmd
}

func (a *app) outboxShowCommand() *cobra.Command {
	var raw, html bool
	cmd := &cobra.Command{
		Use: "show KEY | TAG", Short: "Show a message as its reader sees it, or the letter on paper for a loop's owner",
		Long: `Show a message, by its key, as its reader sees it; or, by the tag of a loop, the
letter on paper for an owner whom no mail reaches.`,
		Example: `  fillmark outbox show 3/2026-11-28/reminder
  fillmark outbox show 7K3QXW --html > letter.html    # to print from a browser`,
		Args: exactlyOne("the key of a message, or the tag of a loop"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !strings.Contains(args[0], "/") { // as every key has
				if raw {
					return &usageError{errors.New("--raw: the key of a message; a letter on paper has no bytes as stored")}
				}
				return a.showLetter(cmd.Context(), args[0], html)
			}
			return a.showMessage(cmd.Context(), args[0], raw, html)
		},
	}
	cmd.Flags().BoolVar(&raw, "raw", false, "its bytes as stored, before signing")
	cmd.Flags().BoolVar(&html, "html", false, "its HTML, of a letter on paper a page to print")
	return cmd
}

func (a *app) showMessage(ctx context.Context, key string, raw, html bool) error {
	message, err := ask[loops.Message](ctx, a, "GET", "/api/v1/outbox/message?key="+queryEscape(key), nil)
	if err != nil {
		return err
	}
	if raw && !a.json {
		_, err := a.out.Write(message.Raw)
		return err
	}
	preview, err := notify.ReadPreview(message.Raw)
	if err != nil && len(message.Raw) > 0 {
		return err
	}
	return a.print(message, func(p *printer) {
		if html {
			p.line("%s", preview.HTML)
			return
		}
		printMessage(p, message, preview)
	})
}

func (a *app) showLetter(ctx context.Context, word string, html bool) error {
	tag, err := loops.ParseTag(word)
	if err != nil {
		return err
	}
	return tell(ctx, a, "GET", "/api/v1/loops/"+string(tag)+"/letter", nil, func(p *printer, letter web.LetterAnswer) {
		text := letter.Text
		if html {
			text = letter.HTML
		}
		p.line("%s", strings.TrimRight(text, "\n"))
	})
}

func printMessage(p *printer, m loops.Message, preview notify.Preview) {
	p.line("%s: %s after %s.", m.Key, m.Status, strings.ToLower(plural(m.Attempts, "attempt")))
	if why := m.Why(); why != "" {
		p.paragraph("  ", "  ", "Last: "+why)
	}
	switch m.Status {
	case loops.Queued:
		p.line("  Next attempt %s.", m.NextAttempt.Format("Mon 2 Jan 2006 15:04 MST"))
	case loops.Refused:
		words, ask := notify.FailureInWords(m.Failure)
		p.paragraph("  ", "  ", fmt.Sprintf("Refused (%s): %s. Then fillmark outbox retry %s.", words, ask, m.Key))
	}
	if len(m.Raw) == 0 {
		p.line("Its text has been deleted.")
		return
	}
	p.line("From: %s\nTo: %s\nSubject: %s\nDate: %s\n", preview.From, preview.To, preview.Subject, preview.Date)
	p.line("%s", strings.TrimRight(preview.Text, "\n"))
}

func (a *app) outboxActCommand(action workshop.OutboxAction, short string) *cobra.Command {
	return &cobra.Command{
		Use: string(action) + " KEY", Short: short, Example: "  fillmark outbox " + string(action) + " 3/2026-11-28/reminder", Args: exactlyOne("the key of the message, as outbox list shows it"),
		RunE: func(cmd *cobra.Command, args []string) error {
			asked := web.MessageAction{Key: loops.MessageKey(args[0]), Action: action}
			return tell(cmd.Context(), a, "POST", "/api/v1/outbox/message", asked, func(p *printer, m loops.Message) {
				p.line("%s: %s.", m.Key, m.Status)
			})
		},
	}
}

func (a *app) allowCommand() *cobra.Command {
	var on string
	cmd := &cobra.Command{
		Use: "allow [ADDRESS]", Short: "List the addresses that were given up, or allow mail to one of them again",
		Long: `List the addresses that mail does not reach, and why. With one of them, or with
--given-up-on where the relay was wrong about all of a day, allow mail there
again.`,
		Example: `  fillmark outbox allow
  fillmark outbox allow ana@garden.example
  fillmark outbox allow --given-up-on 2026-11-28`,
		Args: atMostOne("the address"),
		RunE: func(cmd *cobra.Command, args []string) error {
			asked := web.AllowedAddress{Address: strings.Join(args, "")}
			switch {
			case len(args) == 0 && on == "":
				c, err := a.config()
				if err != nil {
					return err
				}
				return tell(cmd.Context(), a, "GET", "/api/v1/suppressed", nil, func(p *printer, list items[loops.Suppression]) { printGivenUp(p, list, c.Zone()) })
			case len(args) == 1 && on != "":
				return &loops.InvalidError{Field: "address", Value: args[0], Reason: "one ADDRESS, or --given-up-on DAY for all of a day"}
			case on != "":
				if err := asked.GivenUpOn.UnmarshalText([]byte(on)); err != nil {
					return chemistry.InField(err, "--given-up-on")
				}
			}
			return tell(cmd.Context(), a, "POST", "/api/v1/suppressed/allow", asked, func(p *printer, answer web.AllowedAddress) {
				for _, address := range answer.Addresses {
					p.line("Mail may go to %s again.", address)
				}
			})
		},
	}
	cmd.Flags().StringVar(&on, "given-up-on", "", "all that were given up on the `DAY`, such as 2026-11-28")
	return cmd
}

// printGivenUp prints the addresses with their days in the workshop's zone, which
// --given-up-on takes.
func printGivenUp(p *printer, list items[loops.Suppression], zone *time.Location) {
	if len(list.Items) == 0 {
		p.line("No address has been given up.")
		return
	}
	p.line("%s given up: nothing is sent there.", countAddresses(len(list.Items)))
	for _, x := range list.Items {
		_, what := notify.FailureInWords(x.Status)
		p.paragraph("  ", "    ", fmt.Sprintf("%s since %s: %s; %s", x.Address, loops.DayOf(x.Since, zone).Long(), strings.TrimRight(x.Reason, "."), what))
	}
	p.line("Where one takes mail again: fillmark outbox allow ADDRESS. Where the relay was wrong about all of a day: allow --given-up-on DAY.")
}

// maxBounce is what a mail that came back may weigh; the reader takes no more.
const maxBounce = 1 << 20

func (a *app) bounceCommand() *cobra.Command {
	return &cobra.Command{
		Use: "bounce", Short: "Read one mail that came back, from standard input",
		Example: `  fillmark bounce < returned.eml`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			raw, err := io.ReadAll(io.LimitReader(a.in, maxBounce))
			if err != nil {
				return fmt.Errorf("bounce: %w", err)
			}
			var answer web.BounceAnswer
			err = a.with(cmd.Context(), func(c *client) error {
				answer, err = decoded[web.BounceAnswer](c.send(cmd.Context(), "POST", "/api/v1/bounces", content{"message/rfc822", bytes.NewReader(raw)}))
				return err
			})
			if err != nil {
				return err
			}
			return a.print(answer, func(p *printer) {
				switch {
				case answer.Ignored != "":
					p.line("Nothing changed: %s.", answer.Ignored)
				case answer.Canary:
					p.line("The workshop's letter to itself has come.")
				case answer.GivenUp:
					p.line("%s %s. Nothing is sent to its address any more.", answer.Message, answer.Reason)
				default:
					p.line("%s %s.", answer.Message, answer.Reason)
				}
			})
		},
	}
}

func countAddresses(n int) string {
	if n == 1 {
		return "1 address"
	}
	return fmt.Sprintf("%d addresses", n)
}
