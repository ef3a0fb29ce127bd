package main

import (
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"github.com/alecthomas/kong"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify"
)

// settings is what every command that needs the database reads, from flags or from the environment. Secrets are
// given as files or in the environment, never as flags: flags show in lists of processes.
type settings struct {
	DatabaseURL      string `name:"database-url" hidden:"" env:"LINTEL_DATABASE_URL" secret:"" help:"Login role of the program (environment only)."`
	AdminDatabaseURL string `name:"admin-database-url" hidden:"" env:"LINTEL_ADMIN_DATABASE_URL" secret:"" help:"Role that may make databases and roles (environment only)."`
	DataDir          string `env:"LINTEL_DATA_DIR" placeholder:"DIR" help:"Without LINTEL_DATABASE_URL: run a private PostgreSQL and keep photos in this folder."`
	PostgresBin      string `env:"LINTEL_POSTGRES_BIN" placeholder:"DIR" help:"Folder of PostgreSQL's programs, for the private server; found by itself if empty."`
	RolePrefix       string `env:"LINTEL_ROLE_PREFIX" default:"lintel" help:"Prefix of the database roles."`
	KeyFile          string `env:"LINTEL_KEY_FILE" placeholder:"FILE" help:"Keys that guard lock and key-safe codes (lintel new-key)."`
	PhotoDir         string `env:"LINTEL_PHOTO_DIR" placeholder:"DIR" help:"Folder of photos; shared when several servers run. Default: photos in the data folder."`

	BackupDir      string `hidden:"" env:"LINTEL_BACKUP_DIR" placeholder:"DIR" help:"Folder of the backups. serve and worker write one into it every night."`
	BackupKeep     int    `hidden:"" env:"LINTEL_BACKUP_KEEP" default:"0" help:"How many complete backups stay; 0: all."`
	BackupWithKeys bool   `hidden:"" env:"LINTEL_BACKUP_WITH_KEYS" help:"Put the key file into the backups."`

	SMTPHost         string `name:"smtp-host" env:"LINTEL_SMTP_HOST" help:"The company's mail server; without it notices wait."`
	SMTPPort         int    `name:"smtp-port" env:"LINTEL_SMTP_PORT" default:"587"`
	SMTPUser         string `name:"smtp-user" env:"LINTEL_SMTP_USER"`
	SMTPPasswordFile string `name:"smtp-password-file" env:"LINTEL_SMTP_PASSWORD_FILE" placeholder:"FILE"`
	SMTPTLS          string `name:"smtp-tls" env:"LINTEL_SMTP_TLS" enum:"starttls,implicit,none" default:"starttls" help:"starttls, implicit or none (a relay on this machine)."`
	MailBounces      string `env:"LINTEL_MAIL_BOUNCES" placeholder:"ADDRESS" help:"Mailbox that takes what comes back, by ADDRESS+<id>@ (subaddressing); what arrives there goes to lintel bounce. Default: the sender's."`
	MailFrom         string `env:"LINTEL_MAIL_FROM" placeholder:"ADDRESS" help:"From whom notices come."`

	WebhooksInside bool `env:"LINTEL_WEBHOOKS_INSIDE" help:"Let webhooks go to plain http and to addresses that are not public: this machine, the company's network."`

	PublicURL string `name:"public-url" env:"LINTEL_PUBLIC_URL" placeholder:"URL" help:"Where the pages are reached from outside, as https://doors.example.com: with a key file, notices carry links to take note and to decline reminders."`

	CompanyName    string `env:"LINTEL_COMPANY_NAME" help:"Who speaks in notices and reports; without a name no report is made."`
	CompanyAddress string `env:"LINTEL_COMPANY_ADDRESS"`
	CompanyPhone   string `env:"LINTEL_COMPANY_PHONE"`
	CompanyLicence string `env:"LINTEL_COMPANY_LICENCE"`
}

// AfterApply refuses secrets that were given as flags. kong calls it.
func (s *settings) AfterApply(parsed *kong.Context) error {
	for _, p := range parsed.Path {
		if p.Flag != nil && p.Flag.Tag.Has("secret") {
			return fmt.Errorf("--%s: give it in the environment, as %s: flags show in lists of processes", p.Flag.Name, p.Flag.Envs[0])
		}
	}
	return nil
}

// check names every fault at once. (kong would call a Validate by itself, also for commands that need less.)
func (s *settings) check() error {
	var faults []error
	if s.DatabaseURL == "" && s.DataDir == "" {
		faults = append(faults, errors.New("neither LINTEL_DATABASE_URL nor --data-dir is given"))
	} else if s.photoDir() == "" {
		faults = append(faults, errors.New("neither LINTEL_PHOTO_DIR nor --data-dir is given: there is no place for photos"))
	}
	for name, text := range map[string]string{"LINTEL_DATABASE_URL": s.DatabaseURL, "LINTEL_ADMIN_DATABASE_URL": s.AdminDatabaseURL} {
		if u, err := url.Parse(text); text != "" && (err != nil || u.Scheme != "postgres" && u.Scheme != "postgresql") {
			faults = append(faults, fmt.Errorf("%s is not a postgres:// address", name))
		}
	}
	if s.SMTPHost != "" {
		if err := s.smtp().Validate(); err != nil {
			faults = append(faults, err)
		}
	}
	if u, err := url.Parse(s.PublicURL); s.PublicURL != "" && (err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil) {
		faults = append(faults, errors.New("LINTEL_PUBLIC_URL is not an address like https://doors.example.com"))
	}
	if s.BackupKeep < 0 {
		faults = append(faults, errors.New("LINTEL_BACKUP_KEEP is negative"))
	}
	if s.BackupWithKeys && s.KeyFile == "" {
		faults = append(faults, errors.New("LINTEL_BACKUP_WITH_KEYS: LINTEL_KEY_FILE is not set"))
	}
	if s.KeyFile != "" {
		if _, err := s.keys(); err != nil {
			faults = append(faults, err)
		}
	}
	if err := errors.Join(faults...); err != nil {
		return badInput{err}
	}
	return nil
}

func (s *settings) smtp() notify.SMTP {
	name, err := os.Hostname()
	if err != nil {
		name = "localhost"
	}
	return notify.SMTP{Host: s.SMTPHost, Port: s.SMTPPort, Username: s.SMTPUser, PasswordFile: s.SMTPPasswordFile, TLS: notify.TLSMode(s.SMTPTLS),
		From: s.MailFrom, Bounces: s.MailBounces, HELO: name, Timeout: deliverWithin}
}

// keys reads the key file; no file is no keys.
func (s *settings) keys() (*identity.Keyring, error) {
	if s.KeyFile == "" {
		return nil, nil
	}
	info, err := os.Stat(s.KeyFile)
	if err != nil {
		return nil, fmt.Errorf("key file: %w", err)
	}
	if err := identity.CheckKeyFileMode(info.Mode()); err != nil {
		return nil, fmt.Errorf("key file %s: %w", s.KeyFile, err)
	}
	text, err := os.ReadFile(s.KeyFile)
	if err != nil {
		return nil, fmt.Errorf("key file: %w", err)
	}
	keys, err := identity.ParseKeyring(text)
	if err != nil {
		return nil, fmt.Errorf("key file %s: %w", s.KeyFile, err)
	}
	return keys, nil
}

func (s *settings) photoDir() string {
	if s.PhotoDir == "" && s.DataDir != "" {
		return filepath.Join(s.DataDir, "photos")
	}
	return s.PhotoDir
}

func (s *settings) company() fleet.ReportCompany {
	return fleet.ReportCompany{Name: strings.TrimSpace(s.CompanyName), Address: s.CompanyAddress, Phone: s.CompanyPhone, Licence: s.CompanyLicence}
}

// configCmd prints what serve would run with.
type configCmd struct {
	serveCmd
}

// Run prints one line a setting, its value and where it came from, then what is wrong with them.
func (c *configCmd) Run(parsed *kong.Context) error {
	known := map[string]bool{}
	for _, f := range parsed.Selected().Flags {
		if len(f.Envs) == 0 {
			continue
		}
		name, value := f.Envs[0], fmt.Sprint(f.Target.Interface())
		known[name] = true
		if f.Tag.Has("secret") {
			value = map[bool]string{true: "set", false: "not set"}[value != ""]
		}
		from := "default"
		if _, set := os.LookupEnv(name); set {
			from = "environment"
		}
		for _, p := range parsed.Path {
			if p.Flag == f {
				from = "flag"
			}
		}
		fmt.Printf("%-28s %-32q %s\n", name, value, from)
	}
	for _, line := range os.Environ() {
		name, _, _ := strings.Cut(line, "=")
		if strings.HasPrefix(name, "LINTEL_") && !known[name] {
			fmt.Printf("%-28s is set, and serve does not read it\n", name)
		}
	}
	return c.check()
}
