// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// The pages that check.mjs visits: a line each. `path` is the address, or a function of what `fillmark try` left: {tag, owner, stop, first},
// a loop's tag and the paths of an owner's page, of their stop page and of a link to set a password. Pages without `open` are visited by
// somebody who is signed in.
export const pages = [
  { name: 'due', path: '/' },
  { name: 'loops', path: '/loops' },
  { name: 'loops, searched', path: '/loops?q=the' },
  { name: 'loop', path: (made) => `/loops/${made.tag}` },
  { name: 'account', path: '/account' },
  { name: 'mistyped tag', path: '/loops/ABC', status: 422 },
  { name: 'nothing here', path: '/nothing', status: 404 },
  { name: 'sign-in', path: '/sign-in?to=/loops', open: true },
  { name: 'set a password', path: (made) => made.first, open: true },
  { name: 'owner', path: (made) => made.owner, open: true },
  { name: 'owner, all fine', path: (made) => `${made.owner}?answer=fine`, open: true },
  { name: 'owner, something off', path: (made) => `${made.owner}?answer=off`, open: true },
  { name: 'stop', path: (made) => made.stop, open: true },
  { name: 'a link that opens nothing', path: '/o/forged', open: true, status: 404 },
]
