# The model on single jumps by lme4 and pbkrtest: variances, Kenward-Roger tests, predictions.
# Run from this folder: Rscript jumps_model.R > jumps_model.json
suppressMessages({library(lme4); library(pbkrtest); library(jsonlite)})
all <- read.csv("jumps_model.csv", stringsAsFactors = TRUE)
# tight: lme4's default optimiser stops up to 2e-5 off
ctl <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 0.2, rhoend = 1e-12, maxfun = 1e6),
                   calc.derivs = FALSE)
one <- function(d) {
  d <- droplevels(d); d$cell <- interaction(d$group, d$session, sep = ".")
  fit <- lmer(h ~ 0 + cell + (1 | athlete) + (1 | athlete:session), data = d, control = ctl)
  nm <- sub("^cell", "", names(fixef(fit))); g <- levels(d$group); s <- levels(d$session)
  w <- function(cell) as.numeric(nm == cell)
  step <- function(group, later) w(paste0(group, ".", later)) - w(paste0(group, ".", s[1]))
  last <- s[length(s)]
  VA <- vcovAdj(fit)
  kr <- function(v) { v <- matrix(v, 1); est <- sum(v * fixef(fit))
    list(estimate = est, se = sqrt(as.numeric(v %*% VA %*% t(v))), df = Lb_ddf(as.numeric(v), vcov(fit), VA)) }
  changes <- lapply(g, function(x) kr(step(x, last))); names(changes) <- g
  diffs <- if (length(g) > 1) { r <- lapply(g[-1], function(x) kr(step(x, last) - step(g[1], last))); names(r) <- g[-1]; r } else NULL
  L <- if (length(g) > 1) do.call(rbind, lapply(g[-1], function(x) t(sapply(s[-1], function(k) step(x, k) - step(g[1], k)))))
       else t(sapply(s[-1], function(k) step(g[1], k)))
  if (length(g) > 1 && length(s) == 2) L <- do.call(rbind, lapply(g[-1], function(x) step(x, last) - step(g[1], last)))
  km <- KRmodcomp(fit, as.matrix(L))
  joint <- list(f = getKR(km, "Fstat"), df = getKR(km, "ndf"), df2 = getKR(km, "ddf"), p = getKR(km, "p.value"))
  v <- as.data.frame(VarCorr(fit)); sd <- setNames(v$sdcor, v$grp)
  days <- ranef(fit)$`athlete:session`
  groups <- tapply(as.character(d$group), d$athlete, function(z) z[1])
  shrunk <- sapply(levels(d$athlete), function(a) {
    b <- function(k) { i <- paste0(a, ":", k); if (i %in% rownames(days)) days[i, 1] else 0 }
    sum(step(groups[a], last) * fixef(fit)) + b(last) - b(s[1]) })
  list(sd = as.list(sd), changes = changes, differences = diffs, joint = as.list(joint),
       shrunken = as.list(shrunk), singular = isSingular(fit, tol = 1e-4))
}
sets <- split(all, all$set)
out <- lapply(sets, one)
cat(toJSON(c(list(r_version = R.version.string, lme4 = as.character(packageVersion("lme4")),
     pbkrtest = as.character(packageVersion("pbkrtest"))), out), digits = 12, auto_unbox = TRUE))
