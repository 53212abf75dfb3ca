r"""The method page as data: sections of sentences and formulas, in the order in which the data travel.

An item is ``("say", code)``, ``("formula", source)`` (notation of ``formulas``), ``("terms", ((symbol, code), …))`` or ``("list", (code, …))``;
codes end ``pages.method.<code>``. Sentences may hold formulas between two ``$``. Numbers inside sentences and formulas come from the code itself (``numbers``).
"""

from __future__ import annotations

from ..config import BY_NAME
from ..crop import art
from ..crop import constants as c
from ..outlook import supply
from ..ripeness import constants as r
from ..ripeness import fitting, readiness, weighing
from ..survey import constants as v
from ..tonnage import bolting
from ..tonnage import constants as t


def numbers() -> dict[str, float]:
    """Every number that a sentence of the page may name."""
    out = {name.lower(): float(value) for module in (r, t, v) for name, value in vars(module).items() if type(value).__name__ == "Constant"}
    out |= {name: s.default for name, s in BY_NAME.items() if isinstance(s.default, (int, float))}
    out |= {"m_" + name: median for name, (median, _) in r.SD_PRIORS.items()}
    out |= {"sample": fitting.SAMPLE_PLOTS, "sampled_above": round(1.3 * fitting.SAMPLE_PLOTS), "about_share": fitting.ABOUT_SHARE, "most_shift": fitting.MOST_SHIFT_MONTHS, "rounds": fitting.ROUNDS,
            "doubt_draws": r.DOUBT_DRAWS, "doubt_plots": r.DOUBT_MOST_PLOTS, "least_factor": r.BACK_TEST_LIMITS[0], "most_factor": r.BACK_TEST_LIMITS[1], "tie_sd": float(c.TIE_SD), "nodes": readiness.NODES, "far_z": weighing.LEAST_Z, "least_visits": weighing.LEAST_VISITS,
            "load_art_sd": art.LOAD_SD, "least_art_loads": art.LEAST_LOADS, "lab_art_sd": art.LAB_SD, "plot_art_sd": art.PLOT_SD, "bolt_years": bolting.MEDIAN_YEARS, "bolt_scale": bolting.SCALE_YEARS, "last_age": float(supply.LAST_AGE)}
    return out


_F0 = rf"f_0(a) = {float(r.CURVE_START_DEG):g} + {float(r.CURVE_RISE_DEG):g} (1 − e^{{−(a/{float(r.CURVE_MONTHS):g})^{{{float(r.CURVE_POWER):g}}}}}) \\ − {float(r.CURVE_FALL_DEG):g} R(a − a^*)"

SECTIONS: tuple[tuple[str, tuple], ...] = (
    ("brix", (("say", "brix"), ("formula", r"B_{20} = B + c(B, T) \\ c(B, 20) = 0 \\ \op{Var} B_{20} = σ_c^2 + (∂c/∂T)^2 σ_T^2"), ("say", "brix_unknown"))),
    ("visit", (("say", "visit"), ("formula", r"y_{ij} = \frac{1}{n_{ij}} ∑_k B_{20,ijk} \\ S_{ij} = ∑_k (B_{20,ijk} − y_{ij})^2"))),
    ("ripening", (
        ("say", "ripening"),
        ("formula", r"y_{ij} = f(a) + s(t) + z + z_s(t) + g(t) \\ + u_i + p_i f′(a) + o_i(t) + h_i(t) \\ + v_{ij} + \bar{e}_{ij}"),
        ("terms", (("f(a)", "term_f"), ("s(t)", "term_s"), ("z, z_s(t)", "term_z"), ("g(t)", "term_g"), ("u_i", "term_u"), ("p_i f′(a)", "term_p"), ("o_i(t)", "term_o"), ("h_i(t)", "term_h"), ("v_{ij}", "term_v"), (r"\bar{e}_{ij}", "term_e"))),
        ("formula", r"f(a) = (1 + k) f_0(a) + d f_0′(a) \\ + c + B(a) γ"),
        ("formula", _F0),
        ("say", "curve"),
        ("formula", r"s(t) = ∑_{m=1}^{2} (α_m \op{sin} 2πmt + β_m \op{cos} 2πmt)"),
        ("say", "season"),
        ("formula", r"\op{Cov}(g(t), g(t′)) = τ^2 e^{−|t−t′|/λ} \\ \op{Cov}(o_i(t), o_i(t′)) = ω^2 e^{−|t−t′|/ρ}"),
        ("say", "memory"),
        ("formula", r"h_i(t) = ∑_{t_k≤t} η_k \\ η_k ∼ N(0, s_k^2) \\ \op{Var} \bar{e}_{ij} = σ^2 e^{b(a−60)/60} / n_{ij}"),
        ("say", "events"), ("say", "generations"))),
    ("priors", (
        ("say", "priors"),
        ("formula", r"k ∼ N(0, σ_k^2) \\ d ∼ N(0, σ_d^2) \\ c ∼ N(0, σ_0^2) \\ \op{Cov}(γ_j, γ_l) = σ_γ^2 e^{−(a_j−a_l)^2/2Λ^2}"),
        ("say", "priors_curve"),
        ("formula", r"\op{log} φ ∼ N(\op{log} m_φ, w_φ^2)"),
        ("say", "priors_sds"))),
    ("fit", (
        ("say", "fit_variance"),
        ("formula", r"V_i = σ_u^2 \op{1} \op{1}′ + (σ_p^2 + δ_i^2) z_i z_i′ + ω^2 e^{−|t−t′|/ρ} \\ + \op{diag}(σ_v^2 + σ^2 h(a)/n + κ^2) + U_i"),
        ("say", "fit_terms"),
        ("formula", r"W_i = V_i^{−1} \\ A = Ω + ∑_i X_i′ W_i X_i \\ b = ∑_i X_i′ W_i y_i \\ \hat{θ} = A^{−1} b"),
        ("say", "fit_reml"),
        ("formula", r"C(φ) = ∑_i \op{log}|V_i| + \op{log}|A| − \op{log}|Ω| \\ + ∑_i y_i′ W_i y_i − b′ A^{−1} b \\ + ∑ (n−1) \op{log} σ^2 h + ∑ S/(σ^2 h) \\ + ∑_φ ((\op{log} φ − \op{log} m_φ)/w_φ)^2"),
        ("formula", r"\frac{∂C}{∂\op{log} φ_k} = 2 φ_k^2 ∑_i \op{tr}(Q_i B_{k,i}) + … \\ Q_i = W_i − W_i X_i A^{−1} X_i′ W_i − q_i q_i′ \\ q_i = W_i (y_i − X_i \hat{θ})"),
        ("say", "fit_search"), ("say", "fit_linear"), ("say", "fit_weighed"), ("say", "fit_fallback"))),
    ("posterior", (
        ("say", "posterior"),
        ("formula", r"m_i(t) = x′ \hat{θ} + c′ q_i + η(r) \sqrt{P_i} \\ P_i(t) = σ_i^2(t) − c′ W_i c + d′ A^{−1} d"),
        ("formula", r"c = \op{Cov}(u_i + p_i z + o_i(t) + h_i(t), y_i) \\ d = x − X_i′ W_i c \\ σ_i^2(t) = σ_u^2 + (σ_p^2 + δ_i^2) z^2 + ω^2 + ∑_{t_k≤t} s_k^2"),
        ("say", "posterior_one"),
        ("formula", r"P_i(t) − \frac{C^2}{P_i(t_0) + σ_v^2 + σ^2 h/n}"),
        ("say", "posterior_visit"),
        ("say", "rare"),
        ("formula", r"\frac{μ − m_i}{\sqrt{P_i}} + η(r) ∼ (1 − q) N(0, 1 − r) \\ + q N(u \sqrt{r/q}, 1 − r + (1 − u^2) r/q) \\ r_i(t) = τ_0^2 (1 − e^{−2(t − t_0)/λ})/P_i(t)"),
        ("say", "rare_terms"))),
    ("doubt", (
        ("say", "doubt"),
        ("formula", r"P = \op{E}_φ P_φ + \op{Var}_φ m_φ"),
        ("say", "back_test"),
        ("formula", r"y − m ∼ N(0, a(w) P + σ_v^2 + σ^2 h/n) \\ \op{log} a(w) = b_0 + b_1 (w − 26)/26"),
        ("say", "back_test_limits"))),
    ("share", (
        ("say", "share"),
        ("formula", r"S_i(t) = \bar{F}(\frac{T − m_i}{σ_i}) \\ σ_i^2 = σ^2 h(a) + (D_i f′(a))^2"),
        ("say", "share_empirical"),
        ("formula", r"\op{Pr}(μ ≥ T) = 1 − H((T − m_i)/\sqrt{P_i})"),
        ("say", "passes"),
        ("formula", r"e + ε > c_p \\ ε ∼ N(0, κ_o^2) \\ \op{E}(e | q) = −\frac{φ(Φ^{−1}(1 − π))}{(1 − π) \sqrt{1 + κ_o^2}}"),
        ("say", "capones"),
        ("formula", r"K(a) = (1 − ℓ)^{(a − a^*)_+}"),
        ("say", "window"))),
    ("plants", (
        ("say", "counts"),
        ("formula", r"\hat{t} = \frac{N}{n} ∑_i N_i \bar{y}_i \\ V = N^2 (1 − \frac{n}{N}) \frac{s^2}{n} + \frac{N}{n} ∑_i N_i^2 (1 − \frac{n_i}{N_i}) \frac{s_i^2}{n_i}"),
        ("say", "balance"),
        ("formula", r"N(t + Δ) = N(t) e^{−(μ_0 + r_i) Δ − ΔH} \\ N ← N + \frac{P}{P + R} (y − N)"),
        ("say", "balance_terms"),
        ("formula", r"\op{log} \frac{y + J + L}{N_0} = −(μ_0 + r_i) a + ε \\ H(a) = −χ λ_q \op{log}(1 − \frac{1}{1 + e^{−(a − a_q)/s_q}})"),
        ("say", "mortality"))),
    ("pinas", (
        ("say", "pinas"),
        ("formula", r"\op{log} W = \op{log} G(a) + α + β (a − 6) \\ + γ_5 (a − 5)_− + γ_2 (a − a_2)_− \\ − ξ (a − a^*)_+ + B(a) γ \\ + Y(t) + x_i′ ζ + δ_i"),
        ("formula", r"G(a) = G_∞ e^{−b e^{−k a}}"),
        ("say", "pinas_terms"),
        ("formula", r"\op{log} \bar{w} = \op{log} W + υ_{i,q} + ν + ε \\ \op{Var} ε = \op{CV}^2/n"),
        ("say", "pinas_loads"),
        ("formula", r"M_i = N_i W_i \\ \op{Var} \op{log} M_i = \op{Var} \op{log} W_i + \op{Var} \op{log} N_i"),
        ("say", "tonnes"))),
    ("sugar", (
        ("say", "sugar"),
        ("formula", r"\frac{A_l}{B_l} = λ + λ_b + λ_i + ε_l \\ λ ∼ N(λ_0, σ_λ^2)"),
        ("say", "sugar_terms"))),
    ("crop", (
        ("say", "crop"),
        ("formula", r"R_w^{(k)} = ∑_i M_{iw}^{(k)} S_{iw}^{(k)} \\ θ^{(k)} ∼ N(\hat{θ}, A^{−1}) \\ k = 1 … 200"),
        ("say", "crop_sums"),
        ("say", "tie"),
        ("formula", r"δ_i = σ_δ (ρ_u u_i/σ_u + ρ_p p_i/σ_p) + η_i \\ \op{Var} η_i = σ_δ^2 (1 − ρ_u^2 − ρ_p^2)"),
        ("say", "tie_terms"),
        ("formula", r"\op{E} m_i = x_i′ θ + β′ \op{E} w_i \\ \op{Var} m_i = β′ \op{Cov}(w_i) β + \op{Var} η_i + 1/A_i \\ w_i = (u_i, p_i) \\ β = σ_δ (ρ_u/σ_u, ρ_p/σ_p)"),
        ("say", "tie_learned"), ("say", "tie_limits"))),
    ("learning", (("say", "learning"), ("say", "learning_bias"), ("say", "doubts"), ("formula", r"\hat{e}_j = q_j/Q_{jj} \\ \op{Var} \hat{e}_j = 1/Q_{jj}"), ("say", "doubts_terms"))),
    ("visits", (
        ("say", "visits"),
        ("formula", r"G_i = \op{sd}(t_i^*) − \op{E} \op{sd}(t_i^* | ξ) \\ μ_w = m_w + k_w ξ + P_{w|ξ}^{1/2} ζ \\ k_w = \sqrt{P_w − P_{w|ξ}}"),
        ("formula", r"t_L = a^* + \frac{\op{log}(1 − L)}{\op{log}(1 − ℓ)} − a − p \\ \op{Var}(p | ξ) = \op{Var} p − \frac{\op{Cov}(p, μ_0)^2}{P_0 + σ_v^2 + σ^2 h/n}"),
        ("say", "visits_terms"))),
    ("track", (
        ("say", "track"),
        ("formula", r"\op{CRPS} = \op{E}|X − y| − \frac{1}{2} \op{E}|X − X′| \\ r = 0 : s (z (2Φ(z) − 1) + 2φ(z) − \frac{1}{\sqrt{π}}) \\ z = (y − m)/s"),
        ("say", "track_terms"))),
    ("cutting", (("say", "cutting"), ("formula", r"\op{max} ∑_{i,w} π_{iw} x_{iw} − F(x, y) + ∑_i E_i r_i \\ x_{iw} ≤ S_{iw} N_i \\ ∑_{w′≤w} x_{iw′} ≤ N_i \op{max}_{w′≤w} S_{iw′}"), ("say", "cutting_terms"))),
    ("outlook", (("say", "outlook"), ("formula", r"\op{min}_{h ≥ 0} ∑_τ c_τ(h_τ) + \frac{1}{n} ∑_{ω=1}^{n} Q(h, ω)"), ("say", "outlook_terms"))),
    ("checked", (("list", tuple(f"checked_{i}" for i in range(1, 7))),)),
    ("limits", (("list", tuple(f"limit_{i}" for i in range(1, 14))),)),
    ("sources", (("list", tuple(f"cited_{i}" for i in range(1, 22))),)),
)
