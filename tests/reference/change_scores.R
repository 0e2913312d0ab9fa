# Simultaneous intervals of differences of change scores, and differences at chosen baselines with
# the region where they are clear, on the anorexia data (Hand et al. 1993; tests/data/prepost).
# Run from this folder: Rscript change_scores.R > change_scores.json
library(mvtnorm); library(jsonlite)
d <- read.csv("../data/prepost/anorexia.csv")
d$change <- d$Postwt - d$Prewt
set.seed(1)

together <- function(d, pairs) {
  groups <- unique(unlist(pairs))
  d <- d[d$Treat %in% groups, ]
  X <- sapply(groups, function(g) as.numeric(d$Treat == g))
  A <- t(sapply(pairs, function(p) as.numeric(groups == p[1]) - as.numeric(groups == p[2])))
  n <- nrow(X); inv <- solve(crossprod(X)); b <- inv %*% crossprod(X, d$change)
  e <- as.vector(d$change - X %*% b); H <- X %*% inv %*% t(X); h <- diag(H)
  infl <- A %*% inv %*% t(X)
  V <- list(classical = sum(e^2) / (n - ncol(X)) * A %*% inv %*% t(A),
            hc2_bm = infl %*% diag(e^2 / (1 - h)) %*% t(infl))
  bm <- apply(infl, 1, function(a) {          # Bell & McCaffrey: tr(B)^2 / tr(B B), B = g g'
    G <- (diag(n) - H) %*% diag(a / sqrt(1 - h)); l <- eigen(crossprod(G), TRUE, TRUE)$values
    sum(l)^2 / sum(l^2) })
  df <- list(classical = n - ncol(X), hc2_bm = min(bm))
  out <- list()
  for (kind in names(V)) {
    se <- sqrt(diag(V[[kind]])); est <- as.vector(A %*% b); R <- cov2cor(V[[kind]])
    # mvtnorm takes whole degrees of freedom in qmvt and pmvt of this type only
    dfk <- df[[kind]]; nu <- if (kind == "classical") dfk else round(dfk)
    ctl <- GenzBretz(maxpts = 2e6, abseps = 1e-7)
    q <- if (qr(R)$rank == nrow(R)) qmvt(0.95, tail = "both", df = nu, corr = R, algorithm = ctl, ptol = 1e-7)$quantile else NA
    p <- sapply(abs(est / se), function(t)
      1 - pmvt(rep(-t, nrow(R)), rep(t, nrow(R)), df = nu, corr = R, algorithm = ctl)[1])
    out[[kind]] <- list(estimate = est, se = se, df = dfk, rounded_df = nu, multiplier = q, p = p)
  }
  out
}

# Difference of two groups along the baseline: own line per group, all three groups in the fit.
along <- function(first, second, at) {
  fit <- lm(Postwt ~ 0 + Treat + Treat:Prewt, data = d)
  name <- function(g, slope) paste0("Treat", g, if (slope) ":Prewt" else "")
  w <- function(x) { v <- setNames(rep(0, length(coef(fit))), names(coef(fit)))
    v[name(first, FALSE)] <- 1; v[name(second, FALSE)] <- -1
    v[name(first, TRUE)] <- x; v[name(second, TRUE)] <- -x; v }
  W <- sapply(at, w); est <- as.vector(crossprod(W, coef(fit)))
  se <- sqrt(diag(t(W) %*% vcov(fit) %*% W)); m <- sqrt(2 * qf(0.95, 2, fit$df.residual))
  clear <- function(x) { v <- w(x); sum(v * coef(fit))^2 - m^2 * as.numeric(t(v) %*% vcov(fit) %*% v) }
  grid <- seq(0, 300, by = 0.01); s <- sapply(grid, clear); k <- which(diff(sign(s)) != 0)
  roots <- sapply(k, function(i) uniroot(clear, grid[i + 0:1], tol = 1e-12)$root)
  list(at = at, estimate = est, se = se, df = fit$df.residual, multiplier = m,
       low = est - m * se, high = est + m * se, roots = roots, clear_at_80 = clear(80) > 0)
}
same <- lm(Postwt ~ Treat + Prewt, data = d); own <- lm(Postwt ~ Treat * Prewt, data = d)
f <- anova(same, own)
cat(toJSON(list(
  r_version = R.version.string, mvtnorm = as.character(packageVersion("mvtnorm")),
  against_control = together(d, list(c("CBT", "Cont"), c("FT", "Cont"))),
  slopes = list(f = f$F[2], df = f$Df[2], df2 = f$Res.Df[2], p = f$`Pr(>F)`[2]),
  ft_cont = along("FT", "Cont", c(75, 80, 85, 90)),
  cbt_cont = along("CBT", "Cont", c(75, 80, 85, 90))
), digits = 12, auto_unbox = TRUE, pretty = TRUE))
