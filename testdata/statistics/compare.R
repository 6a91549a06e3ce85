# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
#
# Times R's survival package on a file of lives (lower,upper,count,group, all
# exact or right-censored): processor time, the best of three, without reading
# the file.
#
#   Rscript compare.R LIVES.csv

suppressPackageStartupMessages(library(survival))
d <- read.csv(commandArgs(trailingOnly = TRUE)[1])
time <- d$lower
status <- as.integer(!is.na(d$upper))
group <- d$group
best <- function(name, f) {
  cat(name, "\t", min(sapply(1:3, function(i) sum(system.time(f())[c("user.self", "sys.self")]))), "\n", sep = "")
}
best("Kaplan-Meier", function() survfit(Surv(time, status) ~ 1, conf.type = "log-log"))
best("Kaplan-Meier, timefix off", function() survfit(Surv(time, status) ~ 1, conf.type = "log-log", timefix = FALSE))
# survdiff of survival 3.5-3 takes no timefix: its model frame refuses it.
best("log-rank", function() survdiff(Surv(time, status) ~ group))
best("Weibull", function() survreg(Surv(time, status) ~ 1, dist = "weibull"))
# Found at whole months: good at the month before.
low <- pmax(0, ceiling(time) - 1)
high <- ifelse(status == 1, ceiling(time), Inf)
if (max(time) < 1000 && all(time == round(time))) {
  best("Turnbull", function() survfit(Surv(low, high, type = "interval2") ~ 1))
}
