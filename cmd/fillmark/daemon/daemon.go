// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package daemon reads the configuration and the keys, opens the register and
// builds all that stands on it, listens, and does what is due until it is
// stopped. It also backs up, restores and checks the register as a whole.
package daemon

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
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

	"fillmark/cmd/fillmark/alarm"
	"fillmark/cmd/fillmark/doctor"
	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/disk"
	"fillmark/loops"
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
	lead      *leader            // nil with a file, which has one daemon
	led       *workshop.Workshop // as the daemon that leads has it
	ledStore  *store.Store
	Deliverer *notify.Deliverer
	Gate      *signin.Gate
	Alarms    *alarm.Board
	pulse     *web.Pulse
	heart     *heart
	Handler   http.Handler
	forgot    time.Time                     // when old mail texts were deleted last; the tick's own
	bounces   *notify.BounceFolder          // nil where no mail comes back to a folder
	mailbox   *mailbox.Mailbox              // nil where none is read
	reading   reading                       // of that mailbox
	examined  atomic.Pointer[doctor.Report] // the last whole look; nil before the first
	wake      chan struct{}                 // a write happened: sweep and deliver soon
	look      chan struct{}                 // a round is over: look for alarms
	system    string                        // GOOS
	keeper    keeper
	now       func() time.Time
	readOnly  bool        // the register is open for reading alone
	serving   atomic.Bool // a daemon runs, and this is it
	seen      atomic.Pointer[look]
	// shown is what the pages show while they are served.
	shown atomic.Pointer[shown]
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
	if err := c.keptPassfile(); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(c.Beside(), 0o700); err != nil {
		return nil, fmt.Errorf("folder of the register: %w", err)
	}
	h := &Service{wake: make(chan struct{}, 1), look: make(chan struct{}, 1), heart: &heart{}, system: runtime.GOOS, now: now, readOnly: options.ReadOnly}
	if h.Store, err = store.Open(c.Store, options); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, h.Store.Close())
		}
	}()
	if err := c.sameAsOthers(h.Store, options); err != nil {
		return nil, err // before a key is made that is not theirs
	}
	secrets, err := openSecrets(c.linkKeyFile(), options.ReadOnly)
	if err == nil {
		err = c.sameAsOthers(h.Store, options)
	}
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
		Name: c.Workshop.Name, Phone: c.Workshop.Phone, From: c.Mail.From, BaseURL: c.Base(), ReadHere: c.ReadHere,
		Zone: c.Zone(), SendHour: c.Mail.SendHour, Policy: policy, Costs: c.costs(), Technician: c.Mail.Technician,
		Language: loops.Language(c.Mail.Language),
		Photos:   c.photos(),
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
	if c.sendsCanary() {
		settings.Canary = time.Duration(c.Alarm.CanaryHours) * time.Hour
	}
	if _, signs, err := c.Keys().Signing(); err == nil && signs { // a key that cannot be read is told below
		settings.Ours = func(raw []byte) error { return c.Keys().Verify(raw, c.MailDomain()) }
	}
	h.Workshop = workshop.New(h.Store, settings, rand.Reader, ownerLinks)
	h.led, h.ledStore = h.Workshop, h.Store
	if c.InDatabase() {
		h.lead = newLeader(h.Store)
		h.ledStore = h.Store.Led(&h.lead.number)
		h.led = h.Workshop.Through(h.ledStore)
	}
	tokens, err := c.tokens()
	if err != nil {
		return nil, err
	}
	if h.Deliverer, err = newDeliverer(c, tokens, h.Store, h.Workshop, settings.ReturnPath, h.heart); err != nil {
		return nil, err
	}
	if h.mailbox, err = c.mailbox(tokens); err != nil {
		return nil, err
	}
	if c.Mail.BounceMaildir != "" {
		h.bounces = &notify.BounceFolder{Dir: c.Mail.BounceMaildir}
	}
	h.Gate = signin.New(h.Store, signin.Cost{})
	proxy, err := c.proxy()
	if err != nil {
		return nil, err
	}
	h.keeper = keeper{h.Store, c, &sync.Mutex{}, h.lead}
	h.pulse = web.NewPulse(time.Duration(c.Sweep.EveryMinutes) * time.Minute)
	if h.Alarms, err = h.alarms(c); err != nil {
		return nil, err
	}
	h.Handler, err = web.New(web.Deps{
		Workshop: h.Workshop, Reader: h.Store, Keeper: h.keeper, House: h, Deliver: h.deliver,
		MailReachesOwners: c.goesOut(), Now: now, Log: log, Random: rand.Reader, Wake: h.poke, Hosts: c.hosts(),
		Gate: h.Gate, WithoutSignIn: c.OpenBench && c.onlyHere(), Start: c.StartSecret, Known: links.DerivedKey(secrets[len(secrets)-32:], "known browsers"),
		Authority: h.authority, BenchAt: c.benchAt(),
		Secure:       strings.HasPrefix(c.Base(), "https://"),
		TrustedProxy: proxy, Pulse: h.pulse, Alarms: h.Alarms,
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

// poke wakes the sweeping loop.
func (h *Service) poke() { wake(h.wake) }

// wake wakes whoever waits; where they are awake already that is enough.
func wake(c chan<- struct{}) {
	select {
	case c <- struct{}{}:
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
		_, _ = rand.Read(secrets) // never an error since Go 1.24
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
	return disk.WriteNew(path, bytes.NewReader(content))
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
func newDeliverer(c Config, tokens *login.Tokens, s *store.Store, truth *workshop.Workshop, verp *notify.ReturnPath, heart *heart) (*notify.Deliverer, error) {
	way, err := newTransport(c, tokens)
	if err != nil {
		return nil, err
	}
	transport := beating{way, heart}
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
		return c.share(notify.NewDeliverer(s, truth, nil, transport, plan, verp))
	}
	if err := keptSecret(key.File); err != nil {
		return nil, fmt.Errorf("mail.dkim_key_file: %w", err)
	}
	signer, err := c.Keys().Signer(c.MailDomain())
	if err != nil {
		return nil, err
	}
	return c.share(notify.NewDeliverer(s, truth, signer, transport, plan, verp))
}

// share tells a deliverer where others may have its outbox too.
func (c Config) share(d *notify.Deliverer, err error) (*notify.Deliverer, error) {
	if err == nil && c.InDatabase() {
		d.Share()
	}
	return d, err
}

// CheckFiles reads every file that the configuration names, as the start does.
func (c Config) CheckFiles(now time.Time) error {
	_, ways := c.alarmWays()
	_, certificate := c.certificateEnds(now)
	return errors.Join(c.keptPassfile(), c.CheckMailFiles(), ways, certificate)
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
	_, err = newDeliverer(c, tokens, nil, nil, nil, &heart{})
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
// that owners' links lead to, and those of the bench.
func (c Config) hosts() []string {
	base, err := url.Parse(c.Base())
	if err != nil {
		return nil
	}
	return append([]string{base.Hostname()}, c.OwnCertificate...)
}
