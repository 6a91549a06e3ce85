// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package daemon reads the configuration and the keys, opens the register and
// builds all that stands on it, listens, and does what is due until it is
// stopped. It also backs up, restores and checks the register as a whole.
package daemon

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops/photos"
	"fillmark/loops/store"
	"fillmark/notify"
	"fillmark/notify/links"
	"fillmark/notify/login"
	"fillmark/notify/mailbox"
)

// Service is everything that stands on one open register.
type Service struct {
	Store     *store.Store
	Workshop  *workshop.Workshop
	Deliverer *notify.Deliverer
	Gate      *signin.Gate
	pulse     *web.Pulse
	Handler   http.Handler
	forgot    time.Time            // when old mail texts were deleted last; the tick's own
	bounces   *notify.BounceFolder // nil where no mail comes back to a folder
	mailbox   *mailbox.Mailbox     // nil where none is read
	wake      chan struct{}        // a write happened: sweep and deliver soon
	system    string               // GOOS
	keeper    keeper
	now       func() time.Time
	readOnly  bool        // the register is open for reading alone
	serving   atomic.Bool // a daemon runs, and this is it
	// certificate is when the one ends that the pages show; nil where they have none.
	certificate atomic.Pointer[time.Time]
}

// Close lets go of the register.
func (h *Service) Close() error { return h.Store.Close() }

// Open opens the register and builds everything that stands on it.
func Open(c Config, now func() time.Time, log *slog.Logger) (*Service, error) {
	return open(c, now, log, store.Options{})
}

// OpenAny is [Open], and where the register cannot be written to, as on a medium
// for reading alone, opens it for that: what writes is refused.
func OpenAny(c Config, now func() time.Time, log *slog.Logger) (*Service, error) {
	h, err := Open(c, now, log)
	if errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS) {
		if reading, readErr := open(c, now, log, store.Options{ReadOnly: true}); readErr == nil {
			return reading, nil
		}
	}
	return h, err
}

func open(c Config, now func() time.Time, log *slog.Logger, options store.Options) (_ *Service, err error) {
	if err := os.MkdirAll(filepath.Dir(c.Store), 0o700); err != nil {
		return nil, fmt.Errorf("folder of the register: %w", err)
	}
	h := &Service{wake: make(chan struct{}, 1), system: runtime.GOOS, now: now, readOnly: options.ReadOnly}
	if h.Store, err = store.Open(c.Store, options); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, h.Store.Close())
		}
	}()
	secrets, err := openSecrets(c.linkKeyFile(), options.ReadOnly)
	if err != nil {
		return nil, err
	}
	ownerLinks, err := links.New(secrets)
	if err != nil {
		return nil, err
	}
	policy, err := c.policy()
	if err != nil {
		return nil, err
	}
	settings := workshop.Settings{
		Name: c.Workshop.Name, Phone: c.Workshop.Phone, From: c.Mail.From, BaseURL: c.base(), ReadHere: c.ReadHere,
		Zone: c.Zone(), SendHour: c.Mail.SendHour, Policy: policy, Costs: c.costs(), Technician: c.Mail.Technician,
		Photos: photos.Folder(filepath.Join(filepath.Dir(c.Store), PhotosFolder)),
	}
	cell, err := photos.OwnCell(os.Args[0])
	if err != nil {
		return nil, err
	}
	settings.ReadPhoto = cell.Read
	if settings.Templates, err = c.templates(); err != nil {
		return nil, err
	}
	if c.Mail.BounceAddress != "" {
		// The oldest secret: rotation must not disown mail on its way.
		key := links.DerivedKey(secrets[len(secrets)-32:], "return path")
		if settings.ReturnPath, err = notify.NewReturnPath(c.Mail.BounceAddress, key); err != nil {
			return nil, err
		}
	}
	h.Workshop = workshop.New(h.Store, settings, rand.Reader, ownerLinks)
	if err := h.Workshop.RecallEvidence(); err != nil {
		return nil, err
	}
	tokens, err := c.tokens()
	if err != nil {
		return nil, err
	}
	if h.Deliverer, err = newDeliverer(c, tokens, h.Store, h.Workshop, settings.ReturnPath); err != nil {
		return nil, err
	}
	if h.mailbox, err = c.mailbox(tokens); err != nil {
		return nil, err
	}
	if c.Mail.BounceMaildir != "" {
		h.bounces = &notify.BounceFolder{Dir: c.Mail.BounceMaildir}
	}
	if h.Gate, err = signin.New(h.Store, rand.Reader, signin.Cost{}); err != nil {
		return nil, err
	}
	proxy, err := c.proxy()
	if err != nil {
		return nil, err
	}
	h.keeper = keeper{h.Store, c, &sync.Mutex{}}
	h.pulse = web.NewPulse(time.Duration(c.Sweep.EveryMinutes) * time.Minute)
	h.Handler, err = web.New(web.Deps{
		Workshop: h.Workshop, Reader: h.Store, Keeper: h.keeper, House: h, Deliver: h.deliver,
		MailReachesOwners: c.goesOut(), Now: now, Log: log, Random: rand.Reader, Wake: h.poke, Hosts: c.hosts(),
		Gate: h.Gate, WithoutSignIn: c.OpenBench && c.onlyHere(), Start: c.StartSecret, Known: links.DerivedKey(secrets[len(secrets)-32:], "known browsers"),
		Secure:       strings.HasPrefix(c.base(), "https://"),
		TrustedProxy: proxy, Pulse: h.pulse,
	})
	return h, err
}

// deliver sends what is queued, unless sender or links are nobody's.
func (h *Service) deliver(ctx context.Context, now time.Time) (notify.Report, error) {
	if problems := h.keeper.config.ReachProblems(); len(problems) > 0 {
		return notify.Report{}, errors.Join(problems...)
	}
	return h.Deliverer.Deliver(ctx, now)
}

// poke wakes the sweeping loop; where it is awake already that is enough.
func (h *Service) poke() {
	select {
	case h.wake <- struct{}{}:
	default:
	}
}

// openSecrets reads the secrets that owners' links and return paths are signed
// with, the newest first, and makes one where there is none yet; where nothing can
// be written it is for this process alone.
func openSecrets(path string, readOnly bool) ([]byte, error) {
	secrets, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		secrets = make([]byte, 32)
		if _, err := io.ReadFull(rand.Reader, secrets); err != nil {
			return nil, fmt.Errorf("link key: %w", err)
		}
		if readOnly {
			return secrets, nil
		}
		err = writeSecret(path, secrets)
	}
	if err == nil {
		err = keptSecret(path)
	}
	if err != nil {
		return nil, fmt.Errorf("link key: %w", err)
	}
	return secrets, nil
}

// writeSecret writes a file that only its owner reads, and never over one.
func writeSecret(path string, content []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	return errors.Join(err, f.Sync(), f.Close())
}

// templates are the workshop's own; nil stands for the built-in ones.
func (c Config) templates() (*notify.Templates, error) {
	if c.Mail.Templates == "" {
		return nil, nil
	}
	return notify.LoadTemplates(c.Mail.Templates)
}

// newDeliverer builds the way out of the outbox: signed where there is a key,
// over the relay or into the folder.
func newDeliverer(c Config, tokens *login.Tokens, s *store.Store, truth *workshop.Workshop, verp *notify.ReturnPath) (*notify.Deliverer, error) {
	transport, err := newTransport(c, tokens)
	if err != nil {
		return nil, err
	}
	plan, err := c.retryPlan()
	if err != nil {
		return nil, fmt.Errorf("mail.retry: %w", err)
	}
	key, there, err := c.Keys().Signing()
	if err != nil {
		return nil, err
	}
	if !there && c.Mail.DKIMKeyFile != "" {
		return nil, fmt.Errorf("mail.dkim_key_file %q: %w", c.Mail.DKIMKeyFile, notify.ErrNoDKIMKey)
	}
	if !there {
		return notify.NewDeliverer(s, truth, nil, transport, plan, verp)
	}
	if err := keptSecret(key.File); err != nil {
		return nil, fmt.Errorf("mail.dkim_key_file: %w", err)
	}
	signer, err := notify.LoadSigner(key.File, c.MailDomain(), key.Selector)
	if err != nil {
		return nil, err
	}
	return notify.NewDeliverer(s, truth, signer, transport, plan, verp)
}

// CheckMailFiles reads what the configuration names for mail, as the start
// does: templates, keys, passwords and certificates.
func (c Config) CheckMailFiles() error {
	if _, err := c.templates(); err != nil {
		return err
	}
	tokens, err := c.tokens()
	if err != nil {
		return err
	}
	if _, err := c.mailbox(tokens); err != nil {
		return err
	}
	_, err = newDeliverer(c, tokens, nil, nil, nil)
	return err
}

// transport is what the deliverer speaks to.
type transport interface {
	Open(ctx context.Context) error
	Send(ctx context.Context, env notify.Envelope, raw []byte) error
	End()
}

func newTransport(c Config, tokens *login.Tokens) (transport, error) {
	if c.Mail.Transport == "maildir" {
		return notify.Maildir{Dir: c.maildir()}, nil
	}
	options := notify.RelayOptions{
		Address: c.Mail.SMTP.Address, HelloName: c.Mail.SMTP.HelloName, Security: notify.Security(c.Mail.SMTP.TLS), Username: c.Mail.SMTP.User,
		PerMinute: c.Mail.SMTP.PerMinute,
	}
	if options.HelloName == "" {
		options.HelloName = c.MailDomain()
	}
	var err error
	if options.TLS, err = c.Mail.SMTP.certificates("mail.smtp"); err != nil {
		return nil, err
	}
	if c.Mail.SMTP.Login == byOAuth {
		options.Tokens = tokens
	} else if options.Password, err = c.Mail.SMTP.password(); err != nil {
		return nil, fmt.Errorf("mail.smtp.password_file: %w", err)
	}
	return notify.NewRelay(options)
}

// MailDomain is the domain that mail comes from and is signed for.
func (c Config) MailDomain() string { return c.Mail.From[strings.LastIndexByte(c.Mail.From, '@')+1:] }

// hosts are the names besides loopback ones that the pages answer to: the one
// that owners' links lead to.
func (c Config) hosts() []string {
	base, err := url.Parse(c.base())
	if err != nil {
		return nil
	}
	return []string{base.Hostname()}
}

// learn reckons anew what openings teach. Openings do so as they are recorded;
// this finds what measurements, edits and imports changed.
func (h *Service) learn(ctx context.Context, log *slog.Logger, now time.Time) {
	renewed, err := h.Workshop.Learn(ctx, workshop.Stamp{At: now.UTC(), By: "schedule"})
	switch {
	case err != nil && ctx.Err() == nil:
		log.Error("evidence not reckoned", "error", err)
	case renewed > 0:
		log.Info("plans brought up to date", "loops", renewed)
	}
}

// sweepAndDeliver does what is due at the instant; errors are for the log,
// since the next round does what this one could not.
func (h *Service) sweepAndDeliver(ctx context.Context, log *slog.Logger, now time.Time) {
	swept, err := h.Workshop.Sweep(workshop.Stamp{At: now.UTC(), By: "schedule"})
	h.pulse.Swept(now, len(swept.Reminders), err)
	if err != nil {
		log.Error("sweep failed", "error", err)
	}
	if _, err := h.Workshop.MailMorning(workshop.Stamp{At: now.UTC(), By: "schedule"}); err != nil {
		log.Error("morning list failed", "error", err)
	}
	h.readBounces(log, now)
	h.forget(log, now)
	report, err := h.deliver(ctx, now)
	h.pulse.Delivered(report)
	switch {
	case err != nil && ctx.Err() == nil:
		log.Error("delivery failed", "error", err)
	case report.RelayFault != nil:
		log.Warn("the relay does not take mail; all of it waits", "error", report.RelayFault, "again_at", report.RetryAt)
	}
	if len(swept.Reminders) > 0 || report.Delivered > 0 || report.Refused > 0 || report.Expired > 0 {
		log.Info("swept", "reminders", len(swept.Reminders), "calls", swept.Calls, "delivered", report.Delivered, "refused", report.Refused, "expired", report.Expired)
	}
}

// bodiesKept is how long the texts of mail that is done with are kept; what it
// was and how it ended stays.
const bodiesKept = 180 * 24 * time.Hour

// actKeysKept is how long an act that is sent again with its key is known
// again.
const actKeysKept = 90 * 24 * time.Hour

// forget deletes old mail texts and forgets old keys of acts, once a day.
func (h *Service) forget(log *slog.Logger, now time.Time) {
	if now.Sub(h.forgot) < 24*time.Hour {
		return
	}
	h.forgot = now
	if _, err := h.Store.DeleteBodies(now.Add(-bodiesKept), "schedule", now.UTC()); err != nil {
		log.Error("old mail texts cannot be deleted", "error", err)
	}
	if _, err := h.Store.ForgetActKeys(now.Add(-actKeysKept)); err != nil {
		log.Error("old keys of acts cannot be forgotten", "error", err)
	}
}

// readBounces takes in the mail that came back since the last round.
func (h *Service) readBounces(log *slog.Logger, now time.Time) {
	if h.bounces == nil {
		return
	}
	err := h.bounces.Each(func(mail io.Reader) error {
		back, err := h.Workshop.Bounce(workshop.Stamp{At: now.UTC(), By: "bounces"}, mail)
		switch {
		case errors.Is(err, notify.ErrNotBounce), errors.Is(err, workshop.ErrForeignBounce):
			log.Info("mail in the bounce folder is no bounce of ours; it stays for a person to read")
		case err == nil:
			log.Info("mail came back", "message", back.Message, "given_up", back.GivenUp)
		default:
			return err
		}
		return nil
	})
	if err != nil {
		log.Error("bounces cannot be read", "error", err)
	}
}
