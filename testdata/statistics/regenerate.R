# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
#
# Computes every expected figure of this folder again, with R and its survival
# package (Debian: r-base-core, r-cran-survival), by other code than the
# program's. Reads the data_*.csv beside it.
#
#   Rscript regenerate.R OUTDIR
#
# Where R's own answer is loose (the limits of fisher.test and mantelhaen.test
# come from uniroot at its default tolerance) the equations are solved here.
# survreg stops where the likelihood no longer changes in its last digits; on a
# flat one that place depends on the BLAS that R is linked to, so the optimum is
# polished here by Newton's method, and the variances are taken there.

suppressPackageStartupMessages(library(survival))
args <- commandArgs(trailingOnly = TRUE)
if (length(args) != 1) stop("usage: Rscript regenerate.R OUTDIR")
out <- args[1]
here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(), value = TRUE)))

take <- function(name) {
  read.csv(file.path(here, name), stringsAsFactors = FALSE, na.strings = "NA",
           colClasses = c(dataset = "character"), check.names = FALSE)
}
put <- function(frame, name) {
  for (column in names(frame)) if (is.double(frame[[column]])) {
    frame[[column]] <- ifelse(is.na(frame[[column]]), "NA", sprintf("%.17g", frame[[column]]))
  }
  frame[] <- lapply(frame, function(v) sub("^inf$", "Inf", sub("^-inf$", "-Inf", as.character(v))))
  write.csv(frame, file.path(out, name), row.names = FALSE, quote = FALSE)
}
spread <- function(frame) frame[rep(seq_len(nrow(frame)), frame$count), ]
root <- function(f, lo, hi) uniroot(f, c(lo, hi), tol = 1e-15, maxiter = 2000)$root

right <- spread(take("data_right.csv"))
right$group <- as.character(right$group)
interval <- take("data_interval.csv")
names_right <- unique(paste(right$dataset, right$group, sep = ":"))
pick <- function(name) {
  part <- strsplit(name, ":")[[1]]
  right[right$dataset == part[1] & right$group == part[2], ]
}
surv_of <- function(d) if (any(d$entry > 0)) Surv(d$entry, d$time, d$status) else Surv(d$time, d$status)

# Kaplan-Meier ---------------------------------------------------------------
km <- NULL
summaries <- NULL
for (name in names_right) {
  d <- pick(name)
  s <- surv_of(d)
  fits <- lapply(c("plain", "log", "log-log"), function(k) survfit(s ~ 1, conf.type = k))
  f <- fits[[3]]
  limits <- lapply(fits, function(g) cbind(g$lower, g$upper))
  frame <- data.frame(dataset = d$dataset[1], group = d$group[1], time = as.double(f$time), n_risk = as.integer(f$n.risk),
    n_event = as.integer(f$n.event), n_censor = as.integer(f$n.censor), surv = f$surv, se_greenwood = f$surv * f$std.err,
    lo_plain = limits[[1]][, 1], hi_plain = limits[[1]][, 2], lo_log = limits[[2]][, 1], hi_log = limits[[2]][, 2],
    lo_loglog = limits[[3]][, 1], hi_loglog = limits[[3]][, 2], na_cumhaz = f$cumhaz, na_se = f$std.chaz)
  km <- rbind(km, frame)
  head <- data.frame(dataset = d$dataset[1], group = d$group[1], n = nrow(d), events = as.integer(sum(d$status)))
  for (i in 1:3) {
    q <- quantile(fits[[i]], c(0.1, 0.25, 0.5))
    summaries <- rbind(summaries, cbind(head, stat = paste0("Q", c(0.1, 0.25, 0.5)), conf_type = c("plain", "log", "log-log")[i],
      est = as.double(q$quantile), lower = as.double(q$lower), upper = as.double(q$upper)))
  }
  if (!any(d$entry > 0)) for (until in signif(max(d$time) * c(0.5, 0.9), 3)) {
    table <- summary(f, rmean = until)$table
    summaries <- rbind(summaries, cbind(head, stat = paste0("RMST", until), conf_type = "se",
      est = as.double(table[["rmean"]]), lower = as.double(table[["se(rmean)"]]), upper = NA_real_))
  }
}
put(km, "km.csv")
put(summaries, "km_summary.csv")

# Log-rank -------------------------------------------------------------------
logrank <- NULL
strata <- take("data_strata.csv")
row_of <- function(dataset, rho, f, group) {
  obs <- if (is.matrix(f$obs)) rowSums(f$obs) else f$obs
  exp <- if (is.matrix(f$exp)) rowSums(f$exp) else f$exp
  data.frame(dataset = dataset, rho = rho, group1 = group, obs1 = obs[1], exp1 = exp[1], obs2 = obs[2], exp2 = exp[2],
    var11 = f$var[1, 1], chisq = f$chisq, df = 1L, p = pchisq(f$chisq, 1, lower.tail = FALSE))
}
for (dataset in c("aml", "leuk6mp", "lung", "veteran")) for (rho in 0:1) {
  d <- right[right$dataset == dataset, ]
  f <- survdiff(Surv(time, status) ~ group, data = d, rho = rho)
  logrank <- rbind(logrank, row_of(dataset, rho, f, sort(unique(d$group))[1]))
}
for (rho in 0:1) {
  f <- survdiff(Surv(time, status) ~ group + strata(stratum), data = strata, rho = rho)
  logrank <- rbind(logrank, row_of("strata", rho, f, "trt1"))
}
put(logrank, "logrank.csv")
f <- survdiff(Surv(time, status) ~ stratum, data = strata)
put(data.frame(dataset = "strata", group = sort(unique(strata$stratum)), n = as.integer(f$n), obs = f$obs, exp = f$exp,
  chisq = f$chisq, p = pchisq(f$chisq, 3, lower.tail = FALSE)), "logrank_k.csv")

exact <- NULL
for (case in list(
  list("a", c(5, 8, 12, 20, 30, 14, 22, 33, 40, 41), c(1, 1, 1, 1, 0, 0, 1, 0, 0, 1), rep(1:2, each = 5)),
  list("b", c(6, 6, 9, 12, 18, 24, 24, 30, 36, 36, 36), c(1, 1, 0, 1, 1, 0, 1, 0, 0, 0, 0), c(1, 1, 1, 1, 2, 2, 2, 2, 2, 1, 2)))) {
  times <- case[[2]]; status <- case[[3]]; group <- case[[4]]
  difference <- function(first) {
    sum(sapply(sort(unique(times[status == 1])), function(at) {
      risk <- times >= at; fail <- times == at & status == 1
      sum(fail & first) - sum(fail) * sum(risk & first) / sum(risk)
    }))
  }
  seen <- difference(group == 1)
  all <- combn(length(times), sum(group == 1), function(i) difference(seq_along(times) %in% i))
  f <- survdiff(Surv(times, status) ~ group)
  exact <- rbind(exact, data.frame(id = case[[1]], times = paste(times, collapse = " "), status = paste(status, collapse = " "),
    group = paste(group, collapse = " "), o_minus_e = seen, n_perm = length(all), p_two = mean(abs(all) >= abs(seen) - 1e-9),
    p_ge = mean(all >= seen - 1e-9), p_le = mean(all <= seen + 1e-9), chisq = f$chisq, p_chisq = pchisq(f$chisq, 1, lower.tail = FALSE)))
}
put(exact, "logrank_exact.csv")

# Aalen-Johansen -------------------------------------------------------------
causes <- take("data_causes.csv")
f <- survfit(Surv(time, factor(cause, levels = c("censored", "clog", "leak"))) ~ 1, data = causes)
cif <- NULL
for (cause in c("clog", "leak")) {
  j <- which(f$states == cause)
  cif <- rbind(cif, data.frame(dataset = "causes", cause = cause, time = as.double(f$time), cif = f$pstate[, j], se = f$std.err[, j]))
}
put(cif, "aalen_johansen.csv")

# Weibull --------------------------------------------------------------------
weibull_names <- c("aml:Maintained", "aml:Nonmaintained", "leuk6mp:placebo", "leuk6mp:6MP", "lung:sex1", "lung:sex2", "veteran:trt1",
  "genfan:all", "bearingcage:all", "lzbearing:all", "heatexchanger", "turbine", "cracks", "cosmesis_rt", "loops_syn")
as_interval <- function(name) {
  if (grepl(":", name)) {
    d <- pick(name)
    return(data.frame(lower = d$time, upper = ifelse(d$status == 1, d$time, Inf), count = 1))
  }
  interval[interval$dataset == name, ]
}
loglik_of <- function(d) function(mu, sigma) {
  h <- function(t) exp((log(t) - mu) / sigma)
  exact <- d$lower == d$upper
  z <- (log(d$lower) - mu) / sigma
  value <- numeric(nrow(d))
  value[exact] <- (z - exp(z) - log(sigma) - log(d$lower))[exact]
  hl <- h(d$lower); hu <- h(d$upper)
  value[!exact] <- (-hl + log(-expm1(-(hu - hl))))[!exact]
  sum(d$count * value)
}
# The contributions of an exact, a right, a left and an interval-censored age
# with gradient and Hessian in mu and log(sigma), differentiated by R itself.
terms <- lapply(list(
  exact = quote((log(a) - m) / exp(s) - exp((log(a) - m) / exp(s)) - s - log(a)),
  right = quote(-exp((log(a) - m) / exp(s))),
  left = quote(log(-expm1(-exp((log(b) - m) / exp(s))))),
  interval = quote(-exp((log(a) - m) / exp(s)) + log(-expm1(exp((log(a) - m) / exp(s)) - exp((log(b) - m) / exp(s)))))),
  function(term) deriv(term, c("m", "s"), function(m, s, a, b) NULL, hessian = TRUE))
kind_of <- function(d) ifelse(d$lower == d$upper, "exact", ifelse(is.infinite(d$upper), "right", ifelse(d$lower == 0, "left", "interval")))
# The optimum near mu and sigma, and the inverse of the observed information.
polish <- function(d, mu, sigma) {
  d <- d[d$lower > 0 | is.finite(d$upper), ]  # what is good at 0 tells nothing
  at <- c(mu, log(sigma)); kind <- kind_of(d)
  for (round in 1:50) {
    g <- c(0, 0); H <- matrix(0, 2, 2)
    for (k in unique(kind)) {
      x <- d[kind == k, ]
      v <- terms[[k]](at[1], at[2], x$lower, x$upper)
      g <- g + colSums(x$count * attr(v, "gradient"))
      H <- H + apply(x$count * attr(v, "hessian"), 2:3, sum)
    }
    step <- solve(H, g)
    at <- at - step
    if (max(abs(step)) < 1e-12) return(list(mu = at[[1]], sigma = exp(at[[2]]), var = solve(-H)))
  }
  stop("the optimum was not found")
}
mle <- NULL; quantiles <- NULL; lower <- NULL
for (name in weibull_names) {
  d <- as_interval(name)
  x <- d[rep(seq_len(nrow(d)), d$count), ]
  s <- Surv(ifelse(x$lower == 0, NA, x$lower), ifelse(is.infinite(x$upper), NA, x$upper), type = "interval2")
  fit <- survreg(s ~ 1, dist = "weibull", control = survreg.control(rel.tolerance = 1e-14, maxiter = 200))
  ll <- loglik_of(d)
  fit <- polish(d, fit$coefficients[[1]], fit$scale)
  mu <- fit$mu; sigma <- fit$sigma
  best <- ll(mu, sigma)
  v <- fit$var
  z <- qnorm(0.975)
  over_mu <- function(sigma) optimize(function(m) ll(m, sigma), mu + c(-12, 12) * max(sigma, 1), maximum = TRUE, tol = 1e-12)$objective
  over_sigma <- function(y, c) optimize(function(s) ll(y - exp(s) * c, exp(s)), log(sigma) + c(-3, 3), maximum = TRUE, tol = 1e-12)$objective
  q <- qchisq(0.95, 1)
  miss <- function(s) 2 * (best - over_mu(exp(s))) - q
  low <- exp(-root(miss, log(sigma), log(sigma) + 4)); high <- exp(-root(miss, log(sigma) - 4, log(sigma)))
  lrt <- 2 * (best - over_mu(1))
  kind <- kind_of(x)
  sub <- sub(":all$", "", name)
  mle <- rbind(mle, data.frame(dataset = sub, n = nrow(x), n_exact = sum(kind == "exact"), n_right = sum(kind == "right"),
    n_left = sum(kind == "left"), n_interval = sum(kind == "interval"), beta = 1 / sigma, eta = exp(mu), loglik = best,
    var_mu = v[1, 1], cov_mu_logsigma = v[1, 2], var_logsigma = v[2, 2],
    beta_lo_wald = exp(-z * sqrt(v[2, 2])) / sigma, beta_hi_wald = exp(z * sqrt(v[2, 2])) / sigma,
    eta_lo_wald = exp(mu - z * sqrt(v[1, 1])), eta_hi_wald = exp(mu + z * sqrt(v[1, 1])), beta_lo_lr = low, beta_hi_lr = high,
    lrt_beta1 = lrt, lrt_p = pchisq(lrt, 1, lower.tail = FALSE)))
  failures <- sum(kind != "right")
  for (p in c(0.01, 0.05, 0.1, 0.5)) {
    c <- log(-log1p(-p)); y <- mu + sigma * c
    se <- sqrt(v[1, 1] + 2 * sigma * c * v[1, 2] + (sigma * c)^2 * v[2, 2])
    away <- function(target, sign) {
      g <- function(at) 2 * (best - over_sigma(at, c)) - target
      far <- 1.5 * se
      while (g(y + sign * far) < 0) far <- far * 1.5
      exp(root(g, min(y, y + sign * far), max(y, y + sign * far)))
    }
    quantiles <- rbind(quantiles, data.frame(dataset = sub, p = p, tp = exp(y), se_log = se, lo95_wald = exp(y - z * se),
      hi95_wald = exp(y + z * se), lo95_lr = away(q, -1), hi95_lr = away(q, 1), lower_onesided95_wald = exp(y - qnorm(0.95) * se),
      lower_onesided95_lr = away(qchisq(0.9, 1), -1)))
    if (p %in% c(0.05, 0.1) && failures >= 5) {
      lower <- rbind(lower, data.frame(dataset = sub, failures = failures, p = p, lower95_lr_t = away(qt(0.95, failures - 1)^2, -1)))
    }
  }
}
# The age at which a loop good at an age will have failed with the chance p:
# its lower bound, from the likelihood maximised over all shapes at that age.
next_lower <- NULL
for (name in c("loops_syn", "turbine", "lzbearing:all")) for (good in c(0, 6, 12, 24)) for (p in c(0.05, 0.1)) {
  d <- as_interval(name)
  ll <- loglik_of(d)
  fit <- optim(c(log(median(d$lower + 1)), 0), function(v) -ll(v[1], exp(v[2])), control = list(reltol = 1e-15, maxit = 5000))
  fit <- polish(d, fit$par[1], exp(fit$par[2]))
  mu <- fit$mu; sigma <- fit$sigma; best <- ll(mu, sigma)
  hazard <- -log1p(-p)
  t <- exp(mu) * ((good / exp(mu))^(1 / sigma) + hazard)^sigma
  failures <- sum(d$count[is.finite(d$upper)])
  target <- qt(0.95, failures - 1)^2
  at <- function(x) {
    g <- function(s) { b <- exp(-s); ll(log((x^b - good^b) / hazard) / b, exp(s)) }
    2 * (best - optimize(g, log(sigma) + c(-2, 2), maximum = TRUE, tol = 1e-12)$objective) - target
  }
  low <- t
  while (at(low) < 0) low <- good + (low - good) * 0.8
  next_lower <- rbind(next_lower, data.frame(dataset = sub(":all$", "", name), good_at = good, p = p, lower95 = root(at, low, t)))
}
put(next_lower, "next_lower.csv")

put(mle, "weibull_mle.csv"); put(quantiles, "weibull_quantile.csv"); put(lower, "blife_lower_lrt.csv")

# Turnbull: plain self-consistency, run to the end ---------------------------
masses <- NULL; logliks <- NULL; survivals <- NULL
for (name in unique(interval$dataset)) {
  d <- interval[interval$dataset == name, ]
  exact <- d$lower == d$upper
  # Ends as (age, 0 a known failure begins, 1 an interval ends, 2 one begins)
  ends <- data.frame(age = c(d$lower, d$upper), phase = c(ifelse(exact, 0, 2), rep(1, nrow(d))))
  ends <- ends[order(ends$age, ends$phase), ]
  cell <- which(head(ends$phase, -1) != 1 & tail(ends$phase, -1) == 1)
  left <- ends$age[cell]; phase <- ends$phase[cell]; to <- ends$age[cell + 1]
  covers <- outer(seq_len(nrow(d)), seq_along(left), function(i, j) {
    begins <- ifelse(exact[i], 0, 2)
    (left[j] > d$lower[i] | (left[j] == d$lower[i] & phase[j] >= begins)) & to[j] <= d$upper[i]
  }) + 0
  p <- rep(1 / length(left), length(left)); n <- sum(d$count)
  for (step in 1:400000) {
    weight <- as.vector(crossprod(covers, d$count / (covers %*% p))) / n
    if (max(weight) - 1 < 1e-10) break
    p <- p * weight
  }
  keep <- p > 1e-7
  masses <- rbind(masses, data.frame(dataset = name, left = left[keep], right = to[keep], p = p[keep], F_right = cumsum(p)[keep]))
  best <- sum(d$count * log(covers %*% p))
  logliks <- rbind(logliks, data.frame(dataset = name, loglik = best))
  # Limits of survival after an age: the share failed by it is held, and the
  # likelihood maximised over masses at every age named and between any two.
  # It may fall as far as a binomial of the lives known on either side does at
  # the limits of Clopper and Pearson, at least as far as chi-squared's.
  if (name %in% c("loops_syn", "cracks", "heatexchanger")) for (age in to[keep & is.finite(to)][unique(c(1, 3, sum(keep & is.finite(to))))]) {
    ages <- sort(unique(c(0, d$lower, d$upper[is.finite(d$upper)])))
    places <- sort(c(ages, head(ages, -1) + diff(ages) / 2, 2 * max(ages)))
    all <- outer(seq_len(nrow(d)), seq_along(places), function(i, j)
      ifelse(exact[i], places[j] == d$lower[i], places[j] > d$lower[i] & places[j] <= d$upper[i])) + 0
    below <- places <= age
    fall <- function(f) {
      q <- ifelse(below, f / sum(below), (1 - f) / sum(!below)); was <- -Inf
      for (step in 1:20000) {
        held <- as.vector(all %*% q)
        now <- sum(d$count * log(held))
        if (now - was < 1e-11) break
        was <- now
        q <- q * as.vector(crossprod(all, d$count / held))
        q <- ifelse(below, q * f / sum(q[below]), if (sum(q[!below]) > 0) q * (1 - f) / sum(q[!below]) else 0)
      }
      2 * (best - now)
    }
    failed <- sum(d$count[d$upper <= age]); good <- sum(d$count[d$lower >= age & d$upper > age])
    allowed <- function(few, many) {
      u <- qbeta(0.975, few + 1, many)
      max(qchisq(0.95, 1), -2 * (few * log(if (few > 0) u / (few / (few + many)) else 1) + many * log((1 - u) / (many / (few + many)))))
    }
    f <- sum(p[to <= age])
    solve <- function(target, lo, hi) uniroot(function(x) fall(x) - target, c(lo, hi), tol = 1e-7)$root
    survivals <- rbind(survivals, data.frame(dataset = name, right = age, survival = 1 - f,
      lower = if (good == 0) 0 else 1 - solve(allowed(failed, good), f, 1 - 1e-9),
      upper = if (failed == 0) 1 else 1 - solve(allowed(good, failed), 1e-9, f)))
  }
}
put(masses, "turnbull.csv"); put(logliks, "turnbull_loglik.csv")
put(survivals, "turnbull_limits.csv")

# Interval setting -----------------------------------------------------------
weibayes <- NULL
for (case in list(list("zero", c(6, 9, 12, 12, 15, 18, 18, 24, 24, 30, 36, 40), 0), list("two", c(6, 9, 12, 12, 15, 18, 18, 24, 24, 30, 36, 40, 19, 27), 2)))
  for (beta in c(1, 1.5, 2, 3)) for (conf in c(0.5, 0.9, 0.95)) {
    eta <- (2 * sum(case[[2]]^beta) / qchisq(conf, 2 * case[[3]] + 2))^(1 / beta)
    weibayes <- rbind(weibayes, data.frame(id = case[[1]], times = paste(case[[2]], collapse = " "), failures = as.integer(case[[3]]),
      beta = beta, conf = conf, eta_lower = eta, B10_lower = qweibull(0.1, beta, eta)))
  }
put(weibayes, "weibayes.csv")

due <- NULL
for (case in list(list("none", 12, 1, 0.1, c(), c()), list("ten_good_18", 12, 1, 0.1, rep(18, 10), rep(0, 10)),
  list("two_of_ten", 12, 1, 0.1, c(14, 14, rep(18, 8)), c(1, 1, rep(0, 8))),
  list("mixed", 12, 1, 0.1, c(5, 9, 12, 12, 20, 24, 31, 36), c(0, 1, 0, 0, 1, 0, 0, 0)),
  list("weak_prior", 18, 0.5, 0.05, c(6, 7, 15, 22), c(0, 0, 1, 0)))) for (beta in c(1, 1.5, 2, 3)) {
  d <- case[[2]]; a <- case[[3]]; p <- case[[4]]
  b <- root(function(b) qgamma(0.9, a, 1) / exp(b) - -log(1 - p) / d^beta, -20, 40)
  rate <- qgamma(0.9, a + sum(case[[6]]), exp(b) + sum(case[[5]]^beta))
  due <- rbind(due, data.frame(id = case[[1]], default = d, beta = beta, a0 = a, p = p, q = 0.9, times = paste(case[[5]], collapse = " "),
    failed = paste(case[[6]], collapse = " "), due = (-log(1 - p) / rate)^(1 / beta)))
}
put(due, "due_gamma.csv")

samples <- NULL
for (p in c(0.05, 0.1, 0.2)) for (conf in c(0.5, 0.8, 0.9, 0.95)) {
  n <- 1L
  while (pbinom(0, n, p) > 1 - conf + 1e-12) n <- n + 1L
  samples <- rbind(samples, data.frame(p = p, conf = conf, n = n))
}
put(samples, "zero_failure_n.csv")

looks <- NULL
for (beta in c(1, 1.5, 2, 3)) for (good in c(0, 6, 12, 24, 36, 48)) for (p in c(0.05, 0.1)) {
  left <- pweibull(good, beta, 48, lower.tail = FALSE)
  at <- root(function(t) 1 - pweibull(t, beta, 48, lower.tail = FALSE) / left - p, good, good + 100)
  looks <- rbind(looks, data.frame(beta = beta, eta = 48, age_last_good = good, p = p, next_age = at))
}
put(looks, "next_inspection.csv")

renewals <- NULL
for (beta in c(0.9, 1, 1.5, 2, 2.5, 3, 4)) for (ratio in c(1, 2, 3, 5, 10, 20)) {
  mean <- 48 * gamma(1 + 1 / beta)
  in_use <- function(t) integrate(function(x) pweibull(x, beta, 48, lower.tail = FALSE), 0, t, rel.tol = 1e-12, subdivisions = 2000)$value
  short <- function(t) beta / 48 * (t / 48)^(beta - 1) * in_use(t) - pweibull(t, beta, 48) - 1 / (ratio - 1)
  row <- data.frame(beta = beta, eta = 48, cost_ratio = ratio, t_opt = Inf, cost_rate = ratio / mean,
    cost_rate_run_to_failure = ratio / mean, F_at_topt = 1, saving = 0)
  if (beta > 1 && ratio > 1 && short(480) > 0) {
    t <- root(short, 0.01, 480)
    f <- pweibull(t, beta, 48)
    row$t_opt <- t; row$F_at_topt <- f; row$cost_rate <- (1 - f + ratio * f) / in_use(t); row$saving <- 1 - row$cost_rate / row$cost_rate_run_to_failure
  }
  renewals <- rbind(renewals, row)
}
put(renewals, "age_replacement.csv")

# Small counts ---------------------------------------------------------------
# A table a/b/c/d is failed with and without the trait, good with and without.
# The distribution of a given the margins, as a function of the log odds.
weights <- function(t) {
  lo <- max(0, t[1] + t[3] - t[3] - t[4]); hi <- min(t[1] + t[2], t[1] + t[3])
  list(first = lo, logs = dhyper(lo:hi, t[1] + t[2], t[3] + t[4], t[1] + t[3], log = TRUE))
}
join <- function(x, y) {
  p <- rep(0, length(x$logs) + length(y$logs) - 1)
  for (i in seq_along(x$logs)) for (j in seq_along(y$logs)) p[i + j - 1] <- p[i + j - 1] + exp(x$logs[i] + y$logs[j])
  list(first = x$first + y$first, logs = log(p))
}
solve_odds <- function(w, a) {
  k <- w$first + seq_along(w$logs) - 1
  p <- function(l) { v <- w$logs + k * l; v <- exp(v - max(v)); v / sum(v) }
  at <- function(f) exp(root(f, -40, 40))
  lowest <- a == min(k); highest <- a == max(k)
  p0 <- p(0)
  less <- sum(p0[k <= a]); more <- sum(p0[k >= a]); same <- p0[k == a]
  data.frame(p_less = less, p_greater = more, p_two_central = min(1, 2 * min(less, more)),
    p_two_mid_central = min(1, 2 * min(less - same / 2, more - same / 2)),
    or_cond_mle = if (lowest) 0 else if (highest) Inf else at(function(l) sum(k * p(l)) - a),
    or_lo_exact = if (lowest) 0 else at(function(l) sum(p(l)[k >= a]) - 0.025),
    or_hi_exact = if (highest) Inf else at(function(l) sum(p(l)[k <= a]) - 0.025),
    or_lo_mid = if (lowest) 0 else at(function(l) sum(p(l)[k > a]) + p(l)[k == a] / 2 - 0.025),
    or_hi_mid = if (highest) Inf else at(function(l) sum(p(l)[k < a]) + p(l)[k == a] / 2 - 0.025),
    attainable = min(1, 2 * min(p0[1], p0[length(p0)])))
}
tables <- list(tea = c(3, 1, 1, 3), two_of_two_6of20 = c(2, 0, 6, 14), two_of_two_3of30 = c(2, 0, 3, 27), two_of_two_12of20 = c(2, 0, 12, 8),
  five_of_six = c(5, 1, 6, 18), convict_twins = c(10, 3, 2, 15), zero_cell = c(0, 5, 6, 4), eq = c(5, 5, 5, 5), big = c(31, 12, 44, 60),
  one_vs_many = c(1, 0, 1, 98), job = c(12, 8, 15, 30))
fisher <- NULL
for (id in names(tables)) {
  t <- tables[[id]]
  fisher <- rbind(fisher, cbind(data.frame(id = id, a = t[1], b = t[2], c = t[3], d = t[4]), solve_odds(weights(t), t[1])))
}
put(fisher, "fisher.csv")

common <- NULL
for (case in list(list("s1", list(c(2, 0, 3, 9), c(3, 1, 4, 12), c(1, 1, 2, 6))), list("s2", list(c(4, 1, 6, 10), c(0, 2, 5, 7))))) {
  w <- Reduce(join, lapply(case[[2]], weights))
  common <- rbind(common, cbind(data.frame(id = case[[1]], tables = paste(sapply(case[[2]], paste, collapse = "/"), collapse = " ")),
    solve_odds(w, sum(sapply(case[[2]], `[`, 1)))))
}
put(common, "mantelhaen.csv")

all_of <- NULL
for (cases in 1:5) for (controls in c(5, 10, 20, 40)) for (exposed in unique(c(1, round(controls * c(0.2, 0.5, 0.8))))) {
  s <- solve_odds(weights(c(cases, 0, exposed, controls - exposed)), cases)
  all_of <- rbind(all_of, cbind(data.frame(cases = cases, controls = controls, controls_exposed = exposed),
    s[c("p_greater", "p_two_central", "p_two_mid_central", "or_lo_exact")]))
}
put(all_of, "kofk_attainable.csv")

shares <- NULL
counts <- list(c(2, 2, 0.5), c(2, 2, 0.3), c(2, 2, 0.6), c(0, 2, 0.1), c(0, 5, 0.1), c(0, 22, 0.1), c(1, 5, 0.1), c(3, 10, 0.1), c(5, 5, 0.5),
  c(7, 20, 0.2), c(12, 40, 0.25), c(40, 200, 0.2), c(1, 1703, 0.01), c(999, 1000, 0.99))
for (i in seq_along(counts)) {
  x <- counts[[i]][1]; n <- counts[[i]][2]; p0 <- counts[[i]][3]
  ci <- binom.test(x, n)$conf.int
  mid <- function(p) pbinom(x, n, p, lower.tail = FALSE) + dbinom(x, n, p) / 2
  more <- pbinom(x - 1, n, p0, lower.tail = FALSE); less <- pbinom(x, n, p0)
  shares <- rbind(shares, data.frame(id = paste0("b", i), x = x, n = n, p0 = p0, est = x / n, cp_lo = ci[1], cp_hi = ci[2],
    mid_lo = if (x == 0) 0 else root(function(p) mid(p) - 0.025, 0, 1), mid_hi = if (x == n) 1 else root(function(p) mid(p) - 0.975, 0, 1),
    cp_upper_onesided95 = binom.test(x, n, alternative = "less")$conf.int[2],
    cp_lower_onesided95 = binom.test(x, n, alternative = "greater")$conf.int[1],
    p_less = less, p_greater = more, p_mid_greater = more - dbinom(x, n, p0) / 2, p_two_central = min(1, 2 * min(less, more))))
}
put(shares, "binomial.csv")

rates <- NULL
for (case in list(list("p0", 0, 120), list("p1", 1, 120), list("p2", 2, 96), list("p3", 5, 480), list("p4", 12, 1500), list("p5", 40, 5200))) {
  x <- case[[2]]; t <- case[[3]]
  ci <- poisson.test(x, t)$conf.int
  mid <- function(m) ppois(x, m, lower.tail = FALSE) + dpois(x, m) / 2
  rates <- rbind(rates, data.frame(id = case[[1]], x = x, exposure = t, rate = x / t, lo = ci[1], hi = ci[2],
    upper_onesided95 = poisson.test(x, t, alternative = "less")$conf.int[2],
    mid_lo = if (x == 0) 0 else root(function(m) mid(m) - 0.025, 0, 200) / t, mid_hi = root(function(m) mid(m) - 0.975, 0, 200) / t))
}
put(rates, "poisson_rate.csv")
two <- NULL
for (case in list(c(4, 120, 2, 300), c(3, 60, 1, 400), c(10, 800, 9, 1100), c(0, 100, 3, 90))) {
  f <- poisson.test(case[c(1, 3)], case[c(2, 4)])
  n <- case[1] + case[3]; p <- case[2] / (case[2] + case[4])
  two <- rbind(two, data.frame(x1 = case[1], t1 = case[2], x2 = case[3], t2 = case[4], rate_ratio = f$estimate[[1]],
    p_two_central = min(1, 2 * min(pbinom(case[1], n, p), pbinom(case[1] - 1, n, p, lower.tail = FALSE))), lo = f$conf.int[1], hi = f$conf.int[2]))
}
put(two, "poisson_two.csv")

writeLines(c(R.version.string, paste("survival", packageVersion("survival")),
  "made by regenerate.R from the data_*.csv beside it"), file.path(out, "versions.txt"))
