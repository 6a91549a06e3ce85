// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package alarm

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"time"

	"fillmark/loops"
)

// patience is how long a way may take.
const patience = 20 * time.Second

// Webhook sends the JSON of a telling by POST, signed as Standard Webhooks 1.0.0
// says: HMAC-SHA256 over id, timestamp and body, in the headers webhook-id,
// webhook-timestamp and webhook-signature. The secret is whsec_ and 24 to 64
// bytes in base64.
func Webhook(address, secret string) (Way, error) {
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(secret, "whsec_"))
	if err != nil || !strings.HasPrefix(secret, "whsec_") || len(key) < 24 || len(key) > 64 {
		return Way{}, errors.New("the secret is not whsec_ and 24 to 64 bytes in base64, such as `echo whsec_$(openssl rand -base64 32)` makes")
	}
	return Way{"webhook", address, func(ctx context.Context, t Telling) error {
		body, err := t.JSON()
		if err != nil {
			return err
		}
		id, at := t.ID(), strconv.FormatInt(t.At.Unix(), 10)
		mac := hmac.New(sha256.New, key)
		mac.Write([]byte(id + "." + at + "."))
		mac.Write(body)
		return post(ctx, address, body, map[string]string{
			"Content-Type": "application/json", "webhook-id": id, "webhook-timestamp": at,
			"webhook-signature": "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil)),
		})
	}}, nil
}

// Post sends the text of a telling by POST, with a bearer token where there is
// one (RFC 6750).
func Post(address, token string) Way {
	return Way{"post", address, func(ctx context.Context, t Telling) error {
		header := map[string]string{"Content-Type": "text/plain; charset=utf-8"}
		if token != "" {
			header["Authorization"] = "Bearer " + token
		}
		return post(ctx, address, []byte(t.Text()), header)
	}}
}

// post sends a body and wants a status of success. It follows no redirect: what
// is sent is for one place. An error does not name the place, which may be a
// secret.
func post(ctx context.Context, address string, body []byte, header map[string]string) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, address, bytes.NewReader(body))
	if err != nil {
		return errors.New("the address cannot be used")
	}
	for name, value := range header {
		r.Header.Set(name, value)
	}
	r.Header.Set("User-Agent", "Fillmark")
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	answer, err := client.Do(r)
	if err != nil {
		var named *url.Error
		if errors.As(err, &named) {
			err = named.Err
		}
		if errors.Is(err, context.DeadlineExceeded) {
			return fmt.Errorf("no answer within %s", patience)
		}
		return err
	}
	_, _ = io.CopyN(io.Discard, answer.Body, 1<<16) // so that the line can be used again; what it says is of no use
	_ = answer.Body.Close()                         // read or not
	if answer.StatusCode < 200 || answer.StatusCode > 299 {
		return fmt.Errorf("it answered %d %s", answer.StatusCode, http.StatusText(answer.StatusCode))
	}
	return nil
}

// Command runs a program with the JSON of a telling on its standard input. No
// shell reads the arguments, nothing of our environment but PATH, HOME and the
// language is passed on, and it is ended with all that it started where it takes
// too long.
func Command(argv []string) Way {
	return Way{"command", strings.Join(argv, "\x00"), func(ctx context.Context, t Telling) error {
		body, err := t.JSON()
		if err != nil {
			return err
		}
		ctx, cancel := context.WithTimeout(ctx, patience)
		defer cancel()
		cmd := exec.CommandContext(ctx, argv[0], argv[1:]...)
		for _, name := range []string{"PATH", "HOME", "LANG"} {
			if value, ok := os.LookupEnv(name); ok {
				cmd.Env = append(cmd.Env, name+"="+value)
			}
		}
		said := &bounded{}
		cmd.Stdin, cmd.Stderr = bytes.NewReader(body), said
		cmd.WaitDelay = time.Second // what it left running may hold its output open
		endWhole(cmd)
		err = cmd.Run()
		switch {
		case err == nil, errors.Is(err, exec.ErrWaitDelay):
			return nil // it ended well itself
		case ctx.Err() != nil:
			return fmt.Errorf("it was ended after %s", patience)
		}
		if words := strings.Join(strings.Fields(said.String()), " "); words != "" {
			return fmt.Errorf("%w: %s", err, loops.Visible(words))
		}
		return err
	}}
}

// bounded keeps the first kilobyte that is written to it.
type bounded struct{ bytes.Buffer }

func (b *bounded) Write(p []byte) (int, error) {
	if room := 1024 - b.Len(); room > 0 {
		b.Buffer.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}
