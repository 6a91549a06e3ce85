/* Copyright 2026 The Fillmark Authors
 * SPDX-License-Identifier: Apache-2.0
 *
 * Melinder's published coefficients evaluated apart from the program, in C: reads
 * the table named first and prints, for both glycols over a grid of strengths and
 * temperatures, density, specific heat, conductivity and viscosity in SI units,
 * and last how many nanoseconds one density took.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { TERMS = 8, PROPERTIES = 4 };
static const char *names[PROPERTIES] = {"density", "specific_heat", "conductivity", "viscosity"};

struct fluid {
	const char *name;
	double t0, x0, c[PROPERTIES][TERMS][TERMS];
};

static double value(const struct fluid *f, int property, double x, double t)
{
	double p = 0;
	for (int i = TERMS - 1; i >= 0; i--) {
		double row = 0;
		for (int j = TERMS - 1; j >= 0; j--)
			row = row * (x - f->x0) + f->c[property][i][j];
		p = p * (t - f->t0) + row;
	}
	return property == 3 ? exp(p) : p;
}

int main(int argc, char **argv)
{
	struct fluid fluids[2] = {{.name = "eg"}, {.name = "pg"}};
	FILE *table = argc == 2 ? fopen(argv[1], "r") : NULL;
	if (!table)
		return 2;
	char line[512], fluid[8], quantity[32];
	while (fgets(line, sizeof line, table)) {
		int i, j;
		double c;
		if (sscanf(line, "%7[^,],%31[^,],%d,%d,%lf", fluid, quantity, &i, &j, &c) != 5)
			continue;
		struct fluid *f = &fluids[strcmp(fluid, "pg") == 0];
		if (i >= TERMS || j >= TERMS)
			return 3;
		if (strcmp(quantity, "base_temperature") == 0)
			f->t0 = c;
		if (strcmp(quantity, "base_fraction") == 0)
			f->x0 = c;
		for (int p = 0; p < PROPERTIES; p++)
			if (strcmp(quantity, names[p]) == 0)
				f->c[p][i][j] = c;
	}
	for (int k = 0; k < 2; k++)
		for (int x = 10; x <= 60; x += 5)
			for (int t = -45; t <= 100; t += 5)
				printf("%s %d %d %.17g %.17g %.17g %.17g\n", fluids[k].name, x, t, value(&fluids[k], 0, x / 100.0, t),
				       value(&fluids[k], 1, x / 100.0, t), value(&fluids[k], 2, x / 100.0, t), value(&fluids[k], 3, x / 100.0, t));
	const int times = 5000000;
	volatile double x = 0.35, t = 20;
	double sum = 0;
	struct timespec begin, end;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &begin);
	for (int i = 0; i < times; i++)
		sum += value(&fluids[0], 0, x, t);
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &end);
	printf("ns %.3f %g\n", ((end.tv_sec - begin.tv_sec) * 1e9 + (end.tv_nsec - begin.tv_nsec)) / times, sum);
	return 0;
}
