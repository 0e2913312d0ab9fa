# SPDX-License-Identifier: GPL-3.0-or-later OR MIT-0

# ---- what follows is the same in every study ---------------------------------------------------

here <- local({
  file <- grep("^--file=", commandArgs(FALSE), value = TRUE)
  if (length(file)) dirname(sub("^--file=", "", file[1])) else "."
})

read_table <- function(name) {
  path <- file.path(here, name)
  if (!file.exists(path)) stop(name, " is not beside this script; write the report again.")
  lines <- readLines(path, encoding = "UTF-8", warn = FALSE)  # in every locale, "C" included
  lines[1] <- sub("^\xef\xbb\xbf", "", lines[1], useBytes = TRUE)
  read.csv(text = lines, encoding = "UTF-8", na.strings = "", check.names = FALSE,
           stringsAsFactors = FALSE, colClasses = text_columns(lines))
}

text_columns <- function(lines) {  # ids stay text: "007" is not 7
  head <- names(read.csv(text = lines, nrows = 1, check.names = FALSE))
  text <- intersect(head, c("athlete", "group", "session", "contrast", "metric", "statistic",
                            "first", "second", "estimator", "interval_kind", "method", "text",
                            "unit"))
  setNames(rep("character", length(text)), text)
}

sessions <- read_table("sessions.csv")

value_of <- function(metric, session, athletes) {
  part <- sessions[sessions$session == session, ]
  as.numeric(part[[metric]][match(athletes, part$athlete)])
}

tally <- new.env()
tally$agree <- 0
tally$differ <- 0
tally$none <- 0

compare <- function(table, found, what, ...) {  # one row of cmjlab against one result of R
  where <- list(...)
  rows <- table
  for (column in names(where)) {
    wanted <- where[[column]]
    rows <- rows[if (is.na(wanted)) is.na(rows[[column]]) else rows[[column]] %in% wanted, ]
  }
  label <- paste(what, paste(unlist(where[!is.na(where)]), collapse = ", "), sep = ": ")
  if (nrow(rows) == 0) return(invisible())
  row <- rows[1, ]
  if (is.na(row$estimate)) {
    tally$none <- tally$none + 1
    cat("no number    ", label, " (", row$text, ")\n", sep = "")
    return(invisible())
  }
  for (part in names(found)) {
    ours <- row[[part]]
    if (is.na(ours)) next
    theirs <- found[[part]]
    same <- is.finite(theirs) && abs(ours - theirs) <= tolerance * max(abs(ours), abs(theirs), 1e-6)
    word <- if (same) "agree" else "DIFFER"
    if (same) tally$agree <- tally$agree + 1 else tally$differ <- tally$differ + 1
    cat(sprintf("%-8s cmjlab %14.8g   R %14.8g   %s, %s\n", word, ours, theirs, label, part))
  }
}

# ---- reliability: two-way mean squares, McGraw & Wong (1996), chi-square interval --------------

two_way <- function(y) {  # athletes in rows, sessions in columns, no missing value
  n <- nrow(y); k <- ncol(y)
  long <- data.frame(y = as.vector(y), athlete = factor(rep(seq_len(n), k)),
                     session = factor(rep(seq_len(k), each = n)))
  ms <- anova(lm(y ~ athlete + session, data = long))[["Mean Sq"]]
  list(n = n, k = k, msr = ms[1], msc = ms[2], mse = ms[3])
}

icc_c1 <- function(m, level) {
  a <- (1 - level) / 2
  f <- m$msr / m$mse; df2 <- (m$n - 1) * (m$k - 1)
  low <- f / qf(1 - a, m$n - 1, df2); high <- f * qf(1 - a, df2, m$n - 1)
  list(estimate = (f - 1) / (f + m$k - 1), ci_low = (low - 1) / (low + m$k - 1),
       ci_high = (high - 1) / (high + m$k - 1), n = m$n)
}

icc_a1 <- function(m, level) {
  a <- (1 - level) / 2; n <- m$n; k <- m$k
  r <- (m$msr - m$mse) / (m$msr + (k - 1) * m$mse + k * (m$msc - m$mse) / n)
  u <- k * r / (n * (1 - r)); v <- 1 + k * r * (n - 1) / (n * (1 - r))
  df <- (u * m$msc + v * m$mse)^2 / ((u * m$msc)^2 / (k - 1) + (v * m$mse)^2 / ((n - 1) * (k - 1)))
  f1 <- qf(1 - a, n - 1, df); f2 <- qf(1 - a, df, n - 1)
  rest <- k * m$msc + (k * n - k - n) * m$mse
  floor <- -1  # a limit below -1 has no meaning: cmjlab cuts it there and says so
  list(estimate = r, ci_low = max(floor, n * (m$msr - f1 * m$mse) / (f1 * rest + n * m$msr)),
       ci_high = max(floor, n * (f2 * m$msr - m$mse) / (rest + n * f2 * m$msr)), n = n)
}

typical_error <- function(m, level) {
  a <- (1 - level) / 2; df <- (m$n - 1) * (m$k - 1)
  list(estimate = sqrt(m$mse), ci_low = sqrt(m$mse * df / qchisq(1 - a, df)),
       ci_high = sqrt(m$mse * df / qchisq(a, df)), n = m$n)
}

check_reliability <- function() {
  if (!length(baselines)) return(invisible())
  table <- read_table("reliability.csv")
  athletes <- unique(sessions$athlete)
  for (metric in intersect(metrics, table$metric)) {
    y <- sapply(baselines, function(s) value_of(metric, s, athletes))
    y <- y[complete.cases(y), , drop = FALSE]
    if (nrow(y) < 2) next
    m <- two_way(y)
    compare(table, typical_error(m, level), "typical error", metric = metric,
            statistic = "typical_error", group = NA)
    for (name in c("icc_a1", "icc_c1")) {
      compare(table, get(name)(m, level), "ICC", metric = metric, statistic = name, group = NA,
              interval_kind = "mcgraw_wong")
    }
  }
}

# ---- change within groups: paired t ------------------------------------------------------------

group_of <- function(athletes) {
  known <- sessions[!is.na(sessions$group), ]
  known$group[match(athletes, known$athlete)]
}

check_within <- function() {
  if (is.na(before)) return(invisible())
  table <- read_table("change_within.csv")
  athletes <- unique(sessions$athlete)
  for (metric in intersect(metrics, table$metric)) {
    change <- value_of(metric, after, athletes) - value_of(metric, before, athletes)
    for (group in unique(table$group[table$statistic == "mean_change"])) {
      mine <- if (is.na(group)) change else change[group_of(athletes) %in% group]
      mine <- mine[!is.na(mine)]
      if (length(mine) < 2 || sd(mine) == 0) next
      test <- t.test(mine, conf.level = level)
      found <- list(estimate = test$estimate[[1]], ci_low = test$conf.int[1],
                    ci_high = test$conf.int[2], p = test$p.value, n = length(mine))
      compare(table, found, "paired t", metric = metric, statistic = "mean_change", group = group)
    }
  }
}

# ---- between groups: analysis of covariance ----------------------------------------------------

interval <- function(value, se, df, n) {
  half <- qt(1 - (1 - level) / 2, df) * se
  list(estimate = value, ci_low = value - half, ci_high = value + half, se = se, df = df,
       p = 2 * pt(-abs(value / se), df), n = n)
}

classical <- function(fit, w, n) {
  interval(sum(w * coef(fit)), sqrt(drop(w %*% vcov(fit) %*% w)), fit$df.residual, n)
}

hc2 <- function(fit, w, n) {  # HC2; degrees of freedom of Bell & McCaffrey (2002)
  x <- model.matrix(fit); inverse <- chol2inv(qr.R(qr(x)))
  hat <- x %*% inverse %*% t(x); left <- 1 - diag(hat)
  influence <- drop(x %*% inverse %*% w)
  se <- sqrt(sum(influence^2 * residuals(fit)^2 / left))
  weight <- influence^2 / left
  maker <- diag(nrow(x)) - hat
  df <- sum(influence^2)^2 / drop(weight %*% maker^2 %*% weight)
  interval(sum(w * coef(fit)), se, df, n)
}

check_between <- function() {
  if (is.na(before) || !length(contrasts)) return(invisible())
  table <- read_table("change_between.csv")
  athletes <- unique(sessions$athlete)
  for (metric in intersect(metrics, table$metric)) {
    data <- data.frame(group = group_of(athletes), after = value_of(metric, after, athletes),
                       before = value_of(metric, before, athletes), stringsAsFactors = FALSE)
    for (one in covariates) {
      if (one$metric == metric && one$session == before) next
      data[[paste(one$metric, one$session)]] <- value_of(one$metric, one$session, athletes)
    }
    data <- data[complete.cases(data), ]
    data <- data[data$group %in% names(which(table(data$group) >= 2)), ]
    varies <- sapply(data[-(1:2)], function(v) diff(range(v)) > 0)
    keep <- data[c("after", names(varies)[varies])]
    if (length(unique(data$group)) < 2 || nrow(data) <= ncol(keep) + length(unique(data$group)) - 1) next
    groups <- unique(data$group)
    keep$group <- factor(match(data$group, groups))  # numbers: names may not fit the locale
    fit <- lm(after ~ 0 + group + ., data = keep)
    for (pair in contrasts) {
      if (!all(pair %in% groups)) next
      w <- setNames(numeric(length(coef(fit))), names(coef(fit)))
      w[paste0("group", match(pair, groups))] <- c(1, -1)
      kinds <- list(hc2_bm = list("HC2 standard error", hc2),
                    classical = list("classical standard error", classical))
      for (kind in names(kinds)) {
        compare(table, kinds[[kind]][[2]](fit, w, nrow(data)), paste("ANCOVA,", kinds[[kind]][[1]]),
                metric = metric, statistic = "adjusted_difference", first = pair[1],
                second = pair[2], interval_kind = kind)
      }
    }
  }
}

check_reliability()
check_within()
check_between()
cat("\n", tally$agree, " number(s) agree, ", tally$differ, " differ",
    if (tally$none) paste0(", ", tally$none, " where cmjlab gives a reason and no number"), ".\n",
    "Verdict: ", if (tally$differ) "R and cmjlab DO NOT AGREE." else if (tally$agree)
      "R and cmjlab agree." else "there was nothing to compare.", "\n", sep = "")
if (!interactive() && (tally$differ || !tally$agree)) quit(status = 1)
