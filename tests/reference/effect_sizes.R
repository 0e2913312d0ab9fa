# Effect sizes by hand in R: partial eta and omega squared of an F test with the noncentral F, d_av
# and g of paired values and g of two groups with the noncentral t, on the sleep data (Student 1908).
# Run from this folder: Rscript effect_sizes.R > effect_sizes.json
library(jsonlite)
ncf <- function(f, d1, d2, p) if (pf(f, d1, d2) <= p) 0 else
  uniroot(function(l) pf(f, d1, d2, ncp = l) - p, c(0, 2 * d1 * f + 400), tol = 1e-13)$root
share <- function(f, d1, d2, level = 0.9) { t <- (1 - level) / 2
  l <- sapply(c(1 - t, t), function(p) ncf(f, d1, d2, p))
  list(f = f, df = d1, df2 = d2, eta = f * d1 / (f * d1 + d2), eta_low = l[1] / (l[1] + d1 + d2 + 1),
       eta_high = l[2] / (l[2] + d1 + d2 + 1), omega = max(0, (f - 1) * d1 / (f * d1 + d2 + 1))) }
nct <- function(t, df, p) uniroot(function(l) pt(t, df, ncp = l) - p, c(-30, 30), tol = 1e-13)$root
limits <- function(t, df) sapply(c(0.975, 0.025), function(p) nct(t, df, p))
J <- function(df) exp(lgamma(df / 2) - lgamma((df - 1) / 2) - log(df / 2) / 2)
x <- sleep$extra[sleep$group == 1]; y <- sleep$extra[sleep$group == 2]; n <- length(x)
d <- y - x; t <- mean(d) / (sd(d) / sqrt(n)); l <- limits(t, n - 1)
av <- sqrt((var(x) + var(y)) / 2)
tw <- t.test(y, x, var.equal = TRUE); sp <- sqrt((var(x) + var(y)) / 2); lw <- limits(tw$statistic, 2 * n - 2)
# an analysis of variance written out: mtcars, mpg by cyl; omega squared from its sums of squares
a <- summary(aov(mpg ~ factor(cyl), mtcars))[[1]]
ss <- a$`Sum Sq`; ms <- a$`Mean Sq`; df <- a$Df
cat(toJSON(list(r_version = R.version.string,
  shares = list(share(a$`F value`[1], df[1], df[2]), share(5.756, 2, 25), share(0.3, 2, 25), share(1.9, 3.4, 41.7), share(120, 1, 8)),
  mtcars_omega = (ss[1] - df[1] * ms[2]) / (sum(ss) + ms[2]),
  paired = list(dz = mean(d) / sd(d), d_av = mean(d) / av, dz_limits = l / sqrt(n),
    d_av_limits = l / sqrt(n) * sd(d) / av, g = mean(d) / sd(d) * J(n - 1)),
  two = list(d = as.numeric(mean(y) - mean(x)) / sp, d_limits = lw * sqrt(2 / n), g = as.numeric(mean(y) - mean(x)) / sp * J(2 * n - 2))
), digits = 12, auto_unbox = TRUE, pretty = TRUE))
