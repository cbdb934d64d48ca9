//! Agreement of two sets of scores of the same things: bias and limits, intraclass correlation, concordance.
//!
//! A difference is always other − reference. Intervals are 95 % and take the pairs as independent.

use statrs::distribution::{ContinuousCDF, FisherSnedecor, Normal, StudentsT};

use super::Undefined;

/// Confidence of every interval.
pub const CONFIDENCE: f64 = 0.95;
/// How many standard deviations the limits of agreement lie from the bias.
pub const LIMIT_SDS: f64 = 1.96;
/// Fewest pairs for which anything is estimated.
const LEAST_PAIRS: usize = 3;

/// An interval of confidence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConfidenceInterval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// An estimate, and its interval where there is one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Its interval of confidence, or why there is none.
    pub interval: Result<ConfidenceInterval, Undefined>,
}

/// Bias and limits of agreement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlandAltman {
    /// Mean difference.
    pub bias: Estimate,
    /// Standard deviation of the differences (n − 1).
    pub sd: f64,
    /// Bias − 1.96 standard deviations.
    pub lower: Estimate,
    /// Bias + 1.96 standard deviations.
    pub upper: Estimate,
}

/// Bias and limits of agreement (Bland & Altman 1986, Lancet i:307–310; 1.96 instead of 2 standard deviations as in
/// 1999, Statistical Methods in Medical Research 8:135–160). Standard errors √(s²/n) and √(3s²/n), with Student's t of
/// n − 1 degrees of freedom (1986). Both sides have the same length.
pub fn bland_altman(reference: &[f64], other: &[f64]) -> Result<BlandAltman, Undefined> {
    let n = enough(reference)?;
    let differences: Vec<f64> = reference.iter().zip(other).map(|(r, o)| o - r).collect();
    let bias = mean(&differences);
    let sd = (sum_of_squares(&differences) / (n - 1.0)).sqrt();
    finite(bias + sd)?;
    let t = StudentsT::new(0.0, 1.0, n - 1.0)
        .map_err(|_| Undefined::NotFinite)?
        .inverse_cdf(f64::midpoint(1.0, CONFIDENCE));
    let around =
        |value: f64, error: f64| Estimate { value, interval: interval(value - t * error, value + t * error) };
    let limit_error = (3.0 * sd * sd / n).sqrt();
    Ok(BlandAltman {
        bias: around(bias, sd / n.sqrt()),
        sd,
        lower: around(bias - LIMIT_SDS * sd, limit_error),
        upper: around(bias + LIMIT_SDS * sd, limit_error),
    })
}

/// ICC(2,1): absolute agreement of single scores in a two-way random model (Shrout & Fleiss 1979, Psychological Bulletin
/// 86:420–428); its interval by `McGraw` & Wong 1996, Psychological Methods 1:30–46, table 7, case 2A. `raters` holds one
/// column a rater, all of the same length.
pub fn icc_2_1(raters: &[&[f64]]) -> Result<Estimate, Undefined> {
    let k = raters.len() as f64;
    let first = *raters.first().ok_or(Undefined::Nothing)?;
    let n = enough(first)?;
    if raters.iter().any(|column| is_constant(column)) {
        return Err(Undefined::NoSpread);
    }
    // Mean squares of the two-way analysis of variance: between subjects, between raters, residual.
    let subjects: Vec<f64> =
        (0..first.len()).map(|i| raters.iter().map(|column| column[i]).sum::<f64>() / k).collect();
    let means: Vec<f64> = raters.iter().map(|column| mean(column)).collect();
    let grand = mean(&means);
    let bms = k * sum_of_squares(&subjects) / (n - 1.0);
    let jms = n * sum_of_squares(&means) / (k - 1.0);
    let residuals = raters.iter().zip(&means).flat_map(|(column, rater)| {
        column.iter().zip(&subjects).map(move |(value, subject)| value - subject - rater + grand)
    });
    let ems = residuals.map(|r| r * r).sum::<f64>() / ((n - 1.0) * (k - 1.0));
    let icc = (bms - ems) / (bms + (k - 1.0) * ems + k * (jms - ems) / n);
    finite(icc)?;
    if raters.iter().all(|column| *column == first) {
        return Ok(Estimate { value: icc, interval: Err(Undefined::NoDifference) });
    }
    // Satterthwaite's degrees of freedom; both terms times the residual's square, which may be 0.
    let a = n * (1.0 + (k - 1.0) * icc) - k * icc;
    let v = (k - 1.0) * (n - 1.0) * (k * icc * jms + a * ems).powi(2)
        / ((n - 1.0) * (k * icc * jms).powi(2) + (a * ems).powi(2));
    let quantile = |df1: f64, df2: f64| {
        FisherSnedecor::new(df1, df2).map_or(f64::NAN, |f| f.inverse_cdf(f64::midpoint(1.0, CONFIDENCE)))
    };
    let (to_low, to_high) = (quantile(n - 1.0, v), quantile(v, n - 1.0));
    let rest = k * jms + (k * n - k - n) * ems;
    let low = n * (bms - to_low * ems) / (to_low * rest + n * bms);
    let high = n * (to_high * bms - ems) / (rest + n * to_high * bms);
    Ok(Estimate { value: icc, interval: interval(low, high) })
}

/// Concordance correlation (Lin 1989, Biometrics 45:255–268), moments with n below; its interval by Fisher's z with the
/// variance as corrected in Lin 2000, Biometrics 56:324–325. Both sides have the same length.
pub fn concordance(reference: &[f64], other: &[f64]) -> Result<Estimate, Undefined> {
    let n = enough(reference)?;
    if is_constant(reference) || is_constant(other) {
        return Err(Undefined::NoSpread);
    }
    let (mx, my) = (mean(reference), mean(other));
    let (sxx, syy) = (sum_of_squares(reference) / n, sum_of_squares(other) / n);
    let sxy = reference.iter().zip(other).map(|(x, y)| (x - mx) * (y - my)).sum::<f64>() / n;
    let c = 2.0 * sxy / (sxx + syy + (mx - my).powi(2));
    finite(c)?;
    if reference == other {
        return Ok(Estimate { value: c, interval: Err(Undefined::NoDifference) });
    }
    let r2 = sxy * sxy / (sxx * syy);
    let r = sxy / (sxx * syy).sqrt();
    let u2 = (mx - my).powi(2) / (sxx * syy).sqrt();
    let c2 = c * c;
    let variance = ((1.0 - r2) * c2 / ((1.0 - c2) * r2)
        + 2.0 * c2 * c * (1.0 - c) * u2 / (r * (1.0 - c2).powi(2))
        - c2 * c2 * u2 * u2 / (2.0 * r2 * (1.0 - c2).powi(2)))
        / (n - 2.0);
    let reach = Normal::standard().inverse_cdf(f64::midpoint(1.0, CONFIDENCE)) * variance.sqrt();
    let z = c.atanh();
    Ok(Estimate { value: c, interval: interval((z - reach).tanh(), (z + reach).tanh()) })
}

fn enough(values: &[f64]) -> Result<f64, Undefined> {
    match values.len() {
        0 => Err(Undefined::Nothing),
        n if n < LEAST_PAIRS => Err(Undefined::TooFew),
        n => Ok(n as f64),
    }
}

fn finite(value: f64) -> Result<f64, Undefined> {
    if value.is_finite() { Ok(value) } else { Err(Undefined::NotFinite) }
}

fn interval(low: f64, high: f64) -> Result<ConfidenceInterval, Undefined> {
    Ok(ConfidenceInterval { low: finite(low)?, high: finite(high)? })
}

fn is_constant(values: &[f64]) -> bool {
    values.iter().all(|value| *value == values[0])
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Squares of the distances from the mean, added up.
fn sum_of_squares(values: &[f64]) -> f64 {
    let middle = mean(values);
    values.iter().map(|value| (value - middle).powi(2)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Peak expiratory flow of 17 people, l/min, first readings by two meters (Bland & Altman 1986, table 1).
    const LARGE: [f64; 17] = [
        494., 395., 516., 434., 476., 557., 413., 442., 650., 433., 417., 656., 267., 478., 178., 423., 427.,
    ];
    const MINI: [f64; 17] = [
        512., 430., 520., 428., 500., 600., 364., 380., 658., 445., 432., 626., 260., 477., 259., 350., 451.,
    ];

    fn places(value: f64, digits: i32) -> f64 {
        let factor = 10_f64.powi(digits);
        (value * factor).round() / factor
    }

    #[test]
    fn peak_flow_as_published() {
        // Large minus mini meter: −2.1 and 38.8 printed; limits with 1.96, and with the 2 of 1986 −79.7 and 75.5
        // printed (made there from the rounded −2.1 and 38.8).
        let got = bland_altman(&MINI, &LARGE).unwrap();
        assert_eq!(places(got.bias.value, 1), -2.1);
        assert_eq!(places(got.bias.value, 2), -2.12);
        assert_eq!(places(got.sd, 1), 38.8);
        assert_eq!(places(got.sd, 2), 38.77);
        assert_eq!((places(got.lower.value, 2), places(got.upper.value, 2)), (-78.1, 73.86));
        assert_eq!(places(-2.1 - 2.0 * places(got.sd, 1), 1), -79.7);
        // Standard errors 9.40 and 16.28, seen through the half-widths over t(16) = 2.120 of any table.
        let error = |e: Estimate| (e.interval.unwrap().high - e.value) / 2.119_905_3;
        assert_eq!(places(error(got.bias), 2), 9.40);
        assert_eq!(places(error(got.upper), 2), 16.28);
    }

    #[test]
    fn limits_of_a_small_example() {
        let differences = [2., -1., 3., 0., 1., 4., -2., 1.];
        let got = bland_altman(&[0.0; 8], &differences).unwrap();
        assert_eq!((got.bias.value, got.sd), (1.0, 2.0));
        assert_eq!((places(got.lower.value, 2), places(got.upper.value, 2)), (-2.92, 4.92));
    }

    #[test]
    fn intraclass_correlation_as_published() {
        // Shrout & Fleiss 1979, table 2: six targets, four judges; ICC(2,1) = .29 printed.
        let judges: [&[f64]; 4] = [
            &[9., 6., 8., 7., 10., 6.],
            &[2., 1., 4., 1., 5., 2.],
            &[5., 3., 6., 2., 6., 4.],
            &[8., 2., 8., 6., 9., 7.],
        ];
        let got = icc_2_1(&judges).unwrap();
        assert_eq!(places(got.value, 2), 0.29);
        assert_eq!(places(got.value, 4), 0.2898);
    }

    #[test]
    fn concordance_is_the_intraclass_correlation_but_for_one_term() {
        // For two raters ICC(2,1) = 2S₁₂/(S₁² + S₂² + d² − s²/n), moments with n − 1 and s² that of the differences;
        // Lin's has no s²/n and moments with n: an identity that ties both to Bland and Altman's figures.
        let n = 17.0;
        let c = concordance(&MINI, &LARGE).unwrap().value;
        let icc = icc_2_1(&[&MINI, &LARGE]).unwrap().value;
        let limits = bland_altman(&MINI, &LARGE).unwrap();
        let d2 = limits.bias.value.powi(2);
        let spread = (sum_of_squares(&MINI) + sum_of_squares(&LARGE)) / (n - 1.0);
        let s12 = (spread - limits.sd.powi(2)) / 2.0;
        let shrink = (n - 1.0) / n;
        assert!((c - 2.0 * s12 * shrink / (spread * shrink + d2)).abs() < 1e-12);
        assert!((icc - 2.0 * s12 / (spread + d2 - limits.sd.powi(2) / n)).abs() < 1e-12);
        // Both near the correlation 0.943 of these data, since the bias is small.
        assert_eq!(places(c, 3), 0.943);
    }

    #[test]
    fn what_is_not_defined_says_why() {
        let (few, flat, rising) = ([1.0, 2.0], [5.0; 4], [1.0, 2.0, 3.0, 4.0]);
        assert_eq!(bland_altman(&[], &[]), Err(Undefined::Nothing));
        assert_eq!(bland_altman(&few, &few), Err(Undefined::TooFew));
        assert_eq!(concordance(&few, &few), Err(Undefined::TooFew));
        assert_eq!(icc_2_1(&[&few, &few]), Err(Undefined::TooFew));
        assert_eq!(concordance(&flat, &rising), Err(Undefined::NoSpread));
        assert_eq!(icc_2_1(&[&flat, &flat]), Err(Undefined::NoSpread));
        let same = concordance(&rising, &rising).unwrap();
        assert_eq!((same.value, same.interval), (1.0, Err(Undefined::NoDifference)));
        let same = icc_2_1(&[&rising, &rising]).unwrap();
        assert_eq!((same.value, same.interval), (1.0, Err(Undefined::NoDifference)));
        assert_eq!(bland_altman(&rising, &[1.0, 2.0, f64::MAX, -f64::MAX]), Err(Undefined::NotFinite));
    }

    #[test]
    fn a_constant_shift_has_limits_without_width_and_imperfect_agreement() {
        let (reference, other) = ([1.0, 2.0, 4.0, 8.0], [2.0, 3.0, 5.0, 9.0]);
        let limits = bland_altman(&reference, &other).unwrap();
        assert_eq!((limits.bias.value, limits.sd, limits.lower.value), (1.0, 0.0, 1.0));
        let icc = icc_2_1(&[&reference, &other]).unwrap();
        let interval = icc.interval.unwrap();
        assert!(interval.low < icc.value && icc.value < 1.0 && icc.value < interval.high, "{icc:?}");
    }
}
