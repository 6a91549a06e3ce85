// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package postgres

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"path/filepath"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
)

// passfile is what an address calls the file with the password, in the format that
// PostgreSQL's own programs read (HOST:PORT:DATABASE:USER:PASSWORD).
const passfile = "passfile"

// CheckAddress tells what is wrong with an address, without connecting: one that
// holds a password, which everybody would see who sees the program run, or a way
// over the network on which the server need not prove who it is. No error repeats a
// password.
func CheckAddress(address string) error {
	_, err := parse(address)
	return err
}

// PasswordFile is the file with the password that an address names; empty where it
// names none.
func PasswordFile(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return ""
	}
	return u.Query().Get(passfile)
}

func parse(address string) (*pgxpool.Config, error) {
	u, err := url.Parse(address)
	if err != nil {
		return nil, errors.New("postgres://USER@HOST/DATABASE?sslmode=verify-full is an address; this cannot be taken apart")
	}
	_, there := u.User.Password()
	for _, secret := range []string{"password", "sslpassword"} {
		there = there || u.Query().Has(secret)
	}
	if there {
		return nil, errors.New("the address holds a password: put it into a file for its user alone, a line HOST:PORT:DATABASE:USER:PASSWORD, and say passfile=FILE in the address; then set another password")
	}
	file := u.Query().Get(passfile)
	if file != "" && !filepath.IsAbs(file) {
		return nil, fmt.Errorf("passfile=%s: the whole path of the file is right", file)
	}
	// An empty one in the address goes before a variable's, and the file after it.
	said := u.Query()
	said.Set("password", "")
	u.RawQuery = said.Encode()
	config, err := pgxpool.ParseConfig(u.String())
	if err != nil {
		return nil, err
	}
	if file == "" {
		config.ConnConfig.Password = "" // none that lies where nobody named it
	}
	return config, guarded(config.ConnConfig.Config)
}

// guarded refuses a way over the network on which the server need not prove who it
// is, or anybody can read along.
func guarded(c pgconn.Config) error {
	ways := []*pgconn.FallbackConfig{{Host: c.Host, TLSConfig: c.TLSConfig}}
	for _, way := range append(ways, c.Fallbacks...) {
		if ip := net.ParseIP(way.Host); strings.HasPrefix(way.Host, "/") || way.Host == "localhost" || ip.IsLoopback() {
			continue
		}
		if way.TLSConfig == nil || way.TLSConfig.InsecureSkipVerify {
			return fmt.Errorf("the database at %s is reached over the network: say sslmode=verify-full in its address, and sslrootcert=FILE where its certificate is your own", way.Host)
		}
	}
	return nil
}
