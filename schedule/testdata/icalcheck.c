/* Copyright 2026 The Fillmark Authors
 * SPDX-License-Identifier: Apache-2.0
 *
 * Reads calendars separated by a line "----" from standard input and lets
 * libical parse each and check it against the restrictions of RFC 5545 and
 * RFC 5546. Prints every component that carries a complaint, exits 1 on any.
 */
#include <libical/ical.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int check(const char *text)
{
	icalcomponent *c = icalparser_parse_string(text);
	int bad = 0;

	if (c == NULL) {
		printf("not parsed:\n%s\n", text);
		return 1;
	}
	/* It returns true for a calendar without METHOD as well and notes what is
	 * wrong as X-LIC-ERROR properties. */
	icalrestriction_check(c);
	bad = icalcomponent_count_errors(c) > 0;
	if (bad)
		printf("%s\n", icalcomponent_as_ical_string(c));
	icalcomponent_free(c);
	return bad;
}

int main(void)
{
	static char all[1 << 26];
	size_t n = fread(all, 1, sizeof all - 1, stdin);
	int bad = 0, count = 0;
	char *p = all, *end;

	all[n] = 0;
	while ((end = strstr(p, "\n----\n")) != NULL) {
		end[1] = 0;
		bad += check(p);
		count++;
		p = end + strlen("\n----\n");
	}
	printf("%d calendars, %d bad\n", count, bad);
	return bad > 0 || count == 0;
}
