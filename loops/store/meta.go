// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// The keys of the bucket meta; those that end in a blank lead keys.
const (
	keySchema  = "schema"
	keyID      = "register id"
	keyUptime  = "uptime"
	keyBackups = "backups"
	keyAlarms  = "alarms"
	keyCanary  = "canary"
	keyLead    = "lead"
	keySame    = "same "    // and of what: what several daemons on one register must have the same of
	keyMailbox = "mailbox " // and its name: the place of the last mail dealt with
)

// checkMeta decodes what stands under the key.
func checkMeta(key, stored []byte) (err error) {
	switch string(key) {
	case keyUptime:
		_, err = decode[loops.Uptime](recordV1, stored)
	case keyID:
		_, err = decode[idV1](recordV1, stored)
	case keyBackups:
		_, err = decode[loops.Backups](recordV1, stored)
	case keyAlarms:
		_, err = decode[loops.AlarmBook](recordV1, stored)
	case keyLead:
		_, err = decode[leadV1](recordV1, stored)
	case keyCanary:
		_, err = decode[loops.Canary](recordV1, stored)
	default:
		switch {
		case bytes.HasPrefix(key, []byte(keyMailbox)):
			_, err = decode[loops.MailPlace](recordV1, stored)
		case bytes.HasPrefix(key, []byte(keySame)):
			_, err = decode[sameV1](recordV1, stored)
		default:
			_, err = decode[schemaV1](recordV1, stored)
		}
	}
	return err
}

// metaIn reads one value of the bucket meta; the zero value where there is none.
func metaIn[T any](tx engine.Reader, key string) (v T, err error) {
	if stored := tx.Get(bucketMeta, []byte(key)); stored != nil {
		return decode[T](recordV1, stored)
	}
	return v, nil
}

func putMetaIn[T any](tx engine.Writer, key string, value T) error {
	v, err := encode(recordV1, value)
	if err != nil {
		return err
	}
	return tx.Put(bucketMeta, []byte(key), v)
}

// metaOf and putMeta do so in a transaction of their own.
func metaOf[T any](s *Store, key string) (v T, err error) {
	return read(s, "store: "+key, func(tx engine.Reader) (T, error) { return metaIn[T](tx, key) })
}

func putMeta[T any](s *Store, key string, value T) error {
	return s.write("store: "+key, func(tx engine.Writer) error { return putMetaIn(tx, key, value) })
}
