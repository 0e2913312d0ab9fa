# What R computes for each family of estimators that it has, on published data; agreement.py sets
# ours beside it. Run from this folder: Rscript agreement.R > agreement_r.csv
suppressMessages({library(lme4); library(pbkrtest); library(emmeans)})
rows <- list(); put <- function(X1, X2, ...) { v <- list(...)
  rows[[length(rows) + 1]] <<- data.frame(family = X1, data = X2, quantity = names(v), r = as.numeric(unlist(v))) }

# -- intraclass correlations: Shrout & Fleiss 1979, Table 2; mean squares by aov, limits by F
sf <- matrix(c(9,2,5,8, 6,1,3,2, 8,4,6,8, 7,1,2,6, 10,5,6,9, 6,2,4,7), 6, byrow = TRUE)
n <- 6; k <- 4; y <- as.vector(sf); row <- factor(rep(1:n, k)); col <- factor(rep(1:k, each = n))
ms <- anova(lm(y ~ row + col))$`Mean Sq`; msr <- ms[1]; msc <- ms[2]; mse <- ms[3]
msw <- anova(lm(y ~ row))$`Mean Sq`[2]
one <- function(f) (f - 1) / (f + k - 1)
f1 <- msr / msw; q1 <- qf(c(.975, .025), n - 1, n * (k - 1))
f3 <- msr / mse; q3 <- qf(c(.975, .025), n - 1, (n - 1) * (k - 1))
put("icc", "Shrout & Fleiss 1979", icc_1 = one(f1), icc_1_low = one(f1 / q1[1]), icc_1_high = one(f1 / q1[2]),
    icc_c1 = one(f3), icc_c1_low = one(f3 / q3[1]), icc_c1_high = one(f3 / q3[2]))
a <- (msr - mse) / (msr + (k - 1) * mse + k * (msc - mse) / n)
av <- k * a / (n * (1 - a)); bv <- 1 + k * a * (n - 1) / (n * (1 - a))
v <- (av * msc + bv * mse)^2 / ((av * msc)^2 / (k - 1) + (bv * mse)^2 / ((n - 1) * (k - 1)))
g <- qf(.975, n - 1, v); h <- qf(.975, v, n - 1)
put("icc", "Shrout & Fleiss 1979", icc_a1 = a,
    icc_a1_low = n * (msr - g * mse) / (g * (k * msc + (k * n - k - n) * mse) + n * msr),
    icc_a1_high = n * (h * msr - mse) / (k * msc + (k * n - k - n) * mse + n * h * msr))

# -- typical error and limits of agreement: Bland & Altman 1986, Wright meter, two readings
w1 <- c(494,395,516,434,476,557,413,442,650,433,417,656,267,478,178,423,427)
w2 <- c(490,397,512,401,470,611,415,431,638,429,420,633,275,492,165,372,421)
d <- w2 - w1; m <- length(d); te <- sd(d) / sqrt(2); lim <- te * sqrt((m - 1) / qchisq(c(.975, .025), m - 1))
put("typical error", "Bland & Altman 1986", typical_error = te, typical_error_low = lim[1], typical_error_high = lim[2])
z <- 1.96; up <- mean(d) + z * sd(d); e <- qt(c(.025, .975), m - 1, ncp = z * sqrt(m)) / sqrt(m)
put("limits of agreement", "Bland & Altman 1986", limit_upper = up, limit_upper_low = mean(d) + e[1] * sd(d),
    limit_upper_high = mean(d) + e[2] * sd(d), limit_lower = mean(d) - z * sd(d))

# -- paired t and equivalence: Student 1908
x <- sleep$extra[1:10]; y <- sleep$extra[11:20]; t <- t.test(y, x, paired = TRUE)
put("paired t", "Student 1908", mean_change = t$estimate, low = t$conf.int[1], high = t$conf.int[2], t = t$statistic, p = t$p.value)
e <- y - x; se <- sd(e) / sqrt(10)
put("two one-sided tests", "Student 1908", p_lower = pt((mean(e) + 2) / se, 9, lower.tail = FALSE),
    p_upper = pt((mean(e) - 2) / se, 9), low_90 = mean(e) - qt(.95, 9) * se, high_90 = mean(e) + qt(.95, 9) * se)

# -- groups: anorexia (Hand et al. 1993)
w <- read.csv("../data/prepost/anorexia.csv"); w$Treat <- relevel(factor(w$Treat), "Cont"); w$change <- w$Postwt - w$Prewt
t <- t.test(w$change[w$Treat == "FT"], w$change[w$Treat == "Cont"])
put("Welch t", "anorexia", difference = diff(rev(t$estimate)), low = t$conf.int[1], high = t$conf.int[2],
    t = t$statistic, df = t$parameter, p = t$p.value)
fit <- lm(Postwt ~ Treat + Prewt, w); s <- coef(summary(fit)); ci <- confint(fit)
put("ANCOVA", "anorexia", difference = s["TreatFT", 1], se = s["TreatFT", 2], t = s["TreatFT", 3], p = s["TreatFT", 4],
    low = ci["TreatFT", 1], high = ci["TreatFT", 2])
f <- anova(lm(Postwt ~ Prewt, w), fit)
put("ANCOVA", "anorexia", joint_f = f$F[2], joint_p = f$`Pr(>F)`[2])
put("ANCOVA", "anorexia", adjusted_mean_FT = as.data.frame(emmeans(fit, ~Treat))$emmean[3])

# -- mixed ANOVA with Greenhouse & Geisser: O'Brien & Kaiser 1985, averaged over hours
ok <- rbind(c(2,3,3), c(4,3,4), c(6,5,7), c(5,3,4), c(4,6,4), c(8,9,9), c(5,8,9), c(3,5,6), c(4,4,5),
            c(4,7,8), c(3,5,6), c(6,9,8), c(6,6,8), c(2,5,6), c(3,7,7), c(5,7,8))
group <- factor(rep(c("control", "A", "B"), c(5, 4, 7))); idata <- data.frame(s = factor(1:3))
full <- lm(ok ~ group); less <- lm(ok ~ 1)
t <- anova(full, less, X = ~1, idata = idata, test = "Spherical")
put("mixed ANOVA", "O'Brien & Kaiser 1985", f = t$F[2], df = t$`num Df`[2], df2 = t$`den Df`[2], p = t$`Pr(>F)`[2],
    p_greenhouse_geisser = t$`G-G Pr`[2], p_huynh_feldt = t$`H-F Pr`[2])

# -- mixed model, Kenward & Roger: the same data
long <- data.frame(value = as.vector(ok), id = factor(rep(1:16, 3)), group = rep(group, 3), s = factor(rep(1:3, each = 16)))
ctl <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 2e-4, rhoend = 1e-12, maxfun = 1e6))
big <- lmer(value ~ group * s + (1 | id), long, control = ctl); small <- lmer(value ~ group + s + (1 | id), long, control = ctl)
kr <- KRmodcomp(big, small); of <- function(name) getKR(kr, name)
put("mixed model, Kenward & Roger", "O'Brien & Kaiser 1985", f = of("Fstat"), df = of("ndf"), df2 = of("ddf"), p = of("p.value"))
em <- contrast(emmeans(big, ~ s * group, lmer.df = "kenward-roger"),
  interaction = c(s = "trt.vs.ctrl", group = "consec"), adjust = "none")
em <- as.data.frame(summary(em, infer = TRUE)); em <- em[em$s_trt.vs.ctrl == "3 - 1" & em$group_consec == "control - B", ]
put("mixed model, Kenward & Roger", "O'Brien & Kaiser 1985", difference = -em$estimate, se = em$SE, contrast_df = em$df,
    contrast_p = em$p.value)
out <- do.call(rbind, rows); out$r <- sprintf("%.14g", out$r)
write.csv(out, stdout(), row.names = FALSE, quote = 1:3)
