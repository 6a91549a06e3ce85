// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package backups

import (
	"archive/tar"
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"filippo.io/age"

	"fillmark/disk"
)

// Recipient reads whom backups are encrypted to, such as age1….
func Recipient(text string) (age.Recipient, error) {
	all, err := age.ParseRecipients(strings.NewReader(text))
	if err != nil {
		return nil, errors.New("no recipient of age")
	}
	if len(all) != 1 {
		return nil, fmt.Errorf("%d recipients; one is right", len(all))
	}
	return all[0], nil
}

// NewIdentity makes a pair of keys and writes the one that opens backups to a
// file that is not there yet (mode 0600). It returns the other, which backups are
// encrypted to.
func NewIdentity(file string) (recipient string, err error) {
	identity, err := age.GenerateX25519Identity()
	if err != nil {
		return "", err
	}
	recipient = identity.Recipient().String()
	content := fmt.Sprintf("# opens the backups of Fillmark that are encrypted to\n# %s\n%s\n", recipient, identity)
	return recipient, disk.WriteNew(file, strings.NewReader(content))
}

// Seal writes a backup's folder as one file, a tar that only the recipient's
// identity opens. What the disk then holds is read back and compared. That is as
// far as a house that has no identity can look.
func Seal(folder, file string, to age.Recipient) (err error) {
	out, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	written := sha256.New()
	err = errors.Join(seal(folder, io.MultiWriter(out, written), to), out.Sync(), out.Close())
	if err != nil {
		return err
	}
	read, err := sumOf(file)
	if err == nil && !bytes.Equal(read[:], written.Sum(nil)) {
		err = fmt.Errorf("%s: what is read back is not what was written", file)
	}
	if err != nil {
		return err
	}
	return LooksSealed(file)
}

// LooksSealed refuses a file that does not begin as age says.
func LooksSealed(file string) error {
	in, err := os.Open(file)
	if err != nil {
		return err
	}
	if _, err = age.ExtractHeader(in); err != nil {
		err = fmt.Errorf("%s is no file of age: %w", file, err)
	}
	return errors.Join(err, in.Close())
}

func seal(folder string, out io.Writer, to age.Recipient) error {
	secret, err := age.Encrypt(out, to)
	if err != nil {
		return err
	}
	archive := tar.NewWriter(secret)
	err = disk.Walk(folder, func(below string) error { return pack(archive, filepath.Join(folder, below), filepath.ToSlash(below)) })
	return errors.Join(err, archive.Close(), secret.Close())
}

// pack adds one file.
func pack(archive *tar.Writer, path, name string) error {
	in, err := os.Open(path)
	if err != nil {
		return err
	}
	info, err := in.Stat()
	if err == nil {
		err = archive.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: name, Size: info.Size(), Mode: 0o600})
	}
	if err == nil {
		_, err = io.Copy(archive, in)
	}
	return errors.Join(err, in.Close())
}

// Unseal unpacks such a file into a folder with an identity out of a file. Names
// that no backup has are refused.
func Unseal(file, folder, identityFile string) (err error) {
	keys, err := os.Open(identityFile)
	if err != nil {
		return err
	}
	identities, err := age.ParseIdentities(keys)
	if err = errors.Join(err, keys.Close()); err != nil {
		return fmt.Errorf("%s: no identity of age: %w", identityFile, err)
	}
	in, err := os.Open(file)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	plain, err := age.Decrypt(in, identities...)
	if err != nil {
		return fmt.Errorf("%s cannot be opened with %s: %w", file, identityFile, err)
	}
	allowed := regexp.MustCompile(`^(` + regexp.QuoteMeta(Register) + `|(` + Keys + `|` + Photos + `)/[A-Za-z0-9._-]+)$`)
	archive := tar.NewReader(plain)
	var files disk.Files
	for {
		head, err := archive.Next()
		if errors.Is(err, io.EOF) {
			return files.Sync()
		}
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		if head.Typeflag != tar.TypeReg || !allowed.MatchString(head.Name) || strings.HasSuffix(head.Name, "/..") {
			return fmt.Errorf("%s holds %q, which is no part of a backup", file, head.Name)
		}
		path := filepath.Join(folder, filepath.FromSlash(head.Name))
		if err := files.WriteNew(path, archive); err != nil {
			return fmt.Errorf("%s: %w", head.Name, err)
		}
	}
}
