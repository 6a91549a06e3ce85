// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	_ "embed"
	"path/filepath"
	"time"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/findings"
	"fillmark/notify"
	"fillmark/schedule"
)

// ConfigExample is the commented file that `config example` prints. A test
// holds it to the defaults.
//
//go:embed config.example.yaml
var ConfigExample string

// Config is everything a workshop can set: one YAML file, overridden by
// FILLMARK_… variables. Every default works. Secrets are in files named here,
// never here.
type Config struct {
	Store string `mapstructure:"store"` // path of the register, or the address of a database
	// Folder is where keys, photos, mail and the socket lie of a register in a
	// database; empty with a file, see [Config.Beside].
	Folder string `mapstructure:"folder"`

	Workshop struct {
		Name  string `mapstructure:"name"`
		Phone string `mapstructure:"phone"`
		Zone  string `mapstructure:"zone"` // IANA name
	} `mapstructure:"workshop"`

	Listen  string `mapstructure:"listen"`   // host:port of the pages
	BaseURL string `mapstructure:"base_url"` // where owners' links lead; empty: they get none
	// TLSCert and TLSKey are PEM files; both empty: no TLS of our own.
	TLSCert string `mapstructure:"tls_cert"`
	TLSKey  string `mapstructure:"tls_key"`
	// OwnCertificate are names and addresses of this computer in the workshop's
	// network, for which the workshop's own authority makes the certificate; none:
	// there is no such authority.
	OwnCertificate []string `mapstructure:"own_certificate"`
	// TrustedProxy is the address or prefix of a proxy that has the
	// certificate and tells who asks; empty: none.
	TrustedProxy string `mapstructure:"trusted_proxy"`

	// OpenBench shows the bench to whoever asks on this computer while no
	// technician has a password, StartSecret only to a browser that opened the
	// link with it. Both are of the command line.
	OpenBench bool `mapstructure:"-"`
	// ReadHere says that the mail is read on this computer alone, so that its links
	// may lead to it.
	ReadHere    bool   `mapstructure:"-"`
	StartSecret string `mapstructure:"-"`

	Mail struct {
		Transport  string `mapstructure:"transport"` // maildir or smtp
		Trial      bool   `mapstructure:"trial"`     // the relay is one for trials and reaches nobody
		Resolver   string `mapstructure:"resolver"`  // host:port of a DNS server; empty: this computer's
		Maildir    string `mapstructure:"maildir"`   // empty: "mail" beside the register
		From       string `mapstructure:"from"`
		SendHour   int    `mapstructure:"send_hour"`  // owner-local, 0 to 23
		Technician string `mapstructure:"technician"` // gets the morning list; empty for none
		Language   string `mapstructure:"language"`   // of owners who chose none: one of [loops.Languages]
		Templates  string `mapstructure:"templates"`  // folder; empty: the built-in ones
		// BounceAddress is where mail comes back to, with +TOKEN before the @;
		// empty: to from. BounceMaildir is where such mail arrives.
		BounceAddress string   `mapstructure:"bounce_address"`
		BounceMaildir string   `mapstructure:"bounce_maildir"`
		Retry         []string `mapstructure:"retry"` // waits such as 30m; empty: as RFC 5321 recommends
		DKIMSelector  string   `mapstructure:"dkim_selector"`
		DKIMKeyFile   string   `mapstructure:"dkim_key_file"` // empty: not signed unless a key lies beside the register
		SMTP          struct {
			MailHost  `mapstructure:",squash"`
			HelloName string `mapstructure:"hello_name"`
			PerMinute int    `mapstructure:"per_minute"` // most mails a minute; 0: no bound
		} `mapstructure:"smtp"`
		// IMAP is the mailbox that owners' answers and returned mail come to; no
		// address: none is read.
		IMAP struct {
			MailHost `mapstructure:",squash"`
			Folder   string `mapstructure:"folder"`
		} `mapstructure:"imap"`
		OAuth struct {
			TokenURL         string   `mapstructure:"token_url"`
			ClientID         string   `mapstructure:"client_id"`
			ClientSecretFile string   `mapstructure:"client_secret_file"` // empty: none
			RefreshTokenFile string   `mapstructure:"refresh_token_file"`
			Scopes           []string `mapstructure:"scopes"`
		} `mapstructure:"oauth"`
	} `mapstructure:"mail"`

	// Alarm is who is told, by ways that are not mail, of what the program cannot
	// do.
	Alarm struct {
		AgainHours  int `mapstructure:"again_hours"`  // told again while it stays so
		CanaryHours int `mapstructure:"canary_hours"` // a letter to ourselves may take so long; 0: none is sent
		Webhook     struct {
			URL        string `mapstructure:"url"` // empty: none
			SecretFile string `mapstructure:"secret_file"`
		} `mapstructure:"webhook"`
		Command []string `mapstructure:"command"` // program and arguments; empty: none
		Post    struct {
			URL       string `mapstructure:"url"`        // empty: none
			TokenFile string `mapstructure:"token_file"` // empty: no token
		} `mapstructure:"post"`
	} `mapstructure:"alarm"`

	Sweep struct {
		Cron         string `mapstructure:"cron"`
		EveryMinutes int    `mapstructure:"every_minutes"`
	} `mapstructure:"sweep"`

	Backup struct {
		KeptDays int `mapstructure:"kept_days"` // after which the workshop destroys one made by hand; 0: not said
		// Folder is where backups by schedule go; empty: none are made.
		// SecondFolder gets a copy of each; empty: none.
		Folder       string `mapstructure:"folder"`
		SecondFolder string `mapstructure:"second_folder"`
		Cron         string `mapstructure:"cron"` // when, in the workshop's zone
		Keep         struct {
			Daily   int `mapstructure:"daily"`
			Weekly  int `mapstructure:"weekly"`
			Monthly int `mapstructure:"monthly"`
		} `mapstructure:"keep"`
		Recipient string `mapstructure:"recipient"` // of age; empty: not encrypted
	} `mapstructure:"backup"`

	Policy struct {
		FirstFrost string           `mapstructure:"first_frost"` // "15 Oct"; empty expects none
		Overrides  []policyOverride `mapstructure:"overrides"`
		// Letters are how letters to an owner keep their distance, see
		// [loops.Policy].
		Letters struct {
			JoinDays     int `mapstructure:"join_days"`
			SpacingDays  int `mapstructure:"spacing_days"`
			LettersAYear int `mapstructure:"letters_a_year"`
		} `mapstructure:"letters"`
		// Costs are in any one unit, such as visits.
		Costs struct {
			Visit         float64 `mapstructure:"visit"`
			WastedService float64 `mapstructure:"wasted_service"`
			Failure       float64 `mapstructure:"failure"`
		} `mapstructure:"costs"`
	} `mapstructure:"policy"`
}

// policyOverride is one figure of the workshop's own; see
// [schedule.WithOverrides].
type policyOverride struct {
	Task     string   `mapstructure:"task"`
	Machines []string `mapstructure:"machines"`
	Build    string   `mapstructure:"build"` // sealed, open, or empty for both
	Days     int      `mapstructure:"days"`
	Months   int      `mapstructure:"months"`
	Why      string   `mapstructure:"why"`
}

// DefaultConfig is what a workshop without a file gets.
func DefaultConfig(env map[string]string) Config {
	var c Config
	if home := dataHome(env); home != "" {
		c.Store = filepath.Join(home, "fillmark", "register.db")
	}
	c.Workshop.Name = "The workshop"
	c.Workshop.Zone = "UTC"
	c.Listen = "127.0.0.1:8377"
	c.Mail.Transport = "maildir"
	c.Mail.From = "workshop@fillmark.example"
	c.Mail.SendHour = 8
	c.Mail.Language = string(loops.English)
	c.Mail.Retry = []string{}
	c.Mail.DKIMSelector = "fillmark"
	c.Mail.SMTP.Address = "127.0.0.1:25"
	c.Mail.SMTP.TLS, c.Mail.SMTP.Login = "starttls", byPassword
	c.Mail.IMAP.TLS, c.Mail.IMAP.Login, c.Mail.IMAP.Folder = "tls", byPassword, "INBOX"
	c.Mail.OAuth.Scopes = []string{}
	c.Alarm.AgainHours = 24
	c.Alarm.CanaryHours = 30
	c.Alarm.Command = []string{}
	c.Sweep.Cron = "5 * * * *"
	c.Sweep.EveryMinutes = 10
	c.Backup.Cron = "30 2 * * *"
	c.Backup.Keep.Daily, c.Backup.Keep.Weekly, c.Backup.Keep.Monthly = 7, 5, 12
	c.Policy.Overrides = []policyOverride{}
	shipped := schedule.DefaultPolicy()
	c.Policy.Letters.JoinDays, c.Policy.Letters.SpacingDays, c.Policy.Letters.LettersAYear = shipped.JoinDays, shipped.SpacingDays, shipped.LettersAYear
	costs := findings.DefaultCosts()
	c.Policy.Costs.Visit, c.Policy.Costs.WastedService, c.Policy.Costs.Failure = costs.Visit, costs.Waste, costs.Failure
	return c
}

// policy returns the shipped policy with the workshop's own figures, or what
// is wrong with these.
func (c Config) policy() (loops.Policy, error) {
	p := schedule.DefaultPolicy()
	p.JoinDays, p.SpacingDays, p.LettersAYear = c.Policy.Letters.JoinDays, c.Policy.Letters.SpacingDays, c.Policy.Letters.LettersAYear
	if err := p.FirstFrost.UnmarshalText([]byte(c.Policy.FirstFrost)); err != nil {
		return p, chemistry.InField(err, "policy.first_frost")
	}
	overrides := make([]schedule.Override, len(c.Policy.Overrides))
	for i, o := range c.Policy.Overrides {
		overrides[i] = schedule.Override{Task: loops.TaskKind(o.Task), Build: o.Build, Days: o.Days, Months: o.Months, Why: o.Why}
		for _, m := range o.Machines {
			overrides[i].Machines = append(overrides[i].Machines, loops.MachineKind(m))
		}
	}
	return schedule.WithOverrides(p, overrides)
}

// costs are what a look weighs against what it prevents.
func (c Config) costs() findings.Costs {
	return findings.Costs{Visit: c.Policy.Costs.Visit, Waste: c.Policy.Costs.WastedService, Failure: c.Policy.Costs.Failure}
}

// dataHome follows the XDG base directory specification; it is empty where
// nobody's home is known, since a register must not depend on the folder that
// a command happens to be typed in.
func dataHome(env map[string]string) string {
	if dir := env["XDG_DATA_HOME"]; filepath.IsAbs(dir) {
		return dir
	}
	if home := env["HOME"]; filepath.IsAbs(home) {
		return filepath.Join(home, ".local", "share")
	}
	if dir := env["LOCALAPPDATA"]; filepath.IsAbs(dir) {
		return dir // Windows
	}
	return ""
}

// Zone returns the workshop's zone; the name was checked when loaded.
func (c Config) Zone() *time.Location {
	zone, err := loops.LoadZone(c.Workshop.Zone)
	if err != nil {
		return time.UTC
	}
	return zone
}

// maildir is where mail goes when no relay is set: beside the register.
func (c Config) maildir() string {
	if c.Mail.Maildir != "" {
		return c.Mail.Maildir
	}
	return filepath.Join(c.Beside(), "mail")
}

// Socket is the path of the Unix socket on which the daemon answers commands,
// beside the register.
func (c Config) Socket() string { return filepath.Join(c.Beside(), "fillmark.sock") }

func (c Config) linkKeyFile() string {
	return filepath.Join(c.keysDir(), "links.key")
}

func (c Config) keysDir() string { return filepath.Join(c.Beside(), "keys") }

// retryPlan reads mail.retry; its intervals were checked when loaded.
func (c Config) retryPlan() (notify.RetryPlan, error) {
	if len(c.Mail.Retry) == 0 {
		return notify.DefaultRetryPlan(), nil
	}
	var plan notify.RetryPlan
	for _, text := range c.Mail.Retry {
		wait, err := time.ParseDuration(text)
		if err != nil {
			return nil, err
		}
		plan = append(plan, wait)
	}
	return plan, plan.Validate()
}
