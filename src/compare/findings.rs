//! What several firings of one motor are judged by.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::{Compared, Fired, Scatter};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};

/// Largest sample standard deviation of total impulse, as a share of the mean.
const LARGEST_SD_SHARE: f64 = 0.067;
/// Share by which one firing may differ from the mean of all.
const ONE_FROM_MEAN: f64 = 0.20;
/// Share by which the mean may differ from the certified impulse.
const MEAN_FROM_CERTIFIED: f64 = 0.10;
/// A drift or a spread this improbable is not taken for chance.
const SIGNIFICANCE: f64 = 0.05;

/// Judges.
#[must_use]
pub(crate) fn findings(firings: &[Fired], quantities: &[Compared]) -> Vec<Finding> {
    let mut out = Vec::new();
    if firings.len() < 2 {
        return out;
    }
    out.push(alike(firings));
    for one in quantities {
        let Some(spread) = &one.spread else {
            continue;
        };
        if one.name == "total impulse" {
            out.push(scatter(spread));
            out.extend(certified(firings, spread));
            out.extend(each_near_the_mean(firings, one, spread));
        }
        out.extend(outlier(firings, one, spread));
        out.extend(drift(one, spread));
    }
    out
}

/// Firings are compared with one another only if they burnt the same.
fn alike(firings: &[Fired]) -> Finding {
    let same = firings
        .windows(2)
        .all(|pair| pair[0].lit_count == pair[1].lit_count && pair[0].labels == pair[1].labels);
    Finding::plain(
        "every firing burnt the same motors",
        if same { Outcome::Holds } else { Outcome::Fails },
        "same labels in the same order, and as many lit",
        COMMON_PRACTICE,
    )
    .advice("a spread between firings of different motors says nothing of either")
}

fn when(holds: bool) -> Outcome {
    if holds {
        Outcome::Holds
    } else {
        Outcome::Fails
    }
}

fn scatter(spread: &Scatter) -> Finding {
    let limit = LARGEST_SD_SHARE * spread.mean.value.abs();
    let freedom = (spread.count - 1) as f64;
    let chi2 = freedom * (spread.sample_sd.value / limit).powi(2);
    let probability = ChiSquared::new(freedom).map_or(0.0, |law| law.sf(chi2));
    let mut out = Finding::plain(
        "standard deviation of total impulse is small against its mean",
        Outcome::from_probability(probability),
        "at most 6.7 % of the mean; probability from the chi-squared distribution",
        "NFPA 1125, from memory",
    );
    out.probability = Some(probability);
    out.measured = Some(spread.sample_sd.clone());
    out.limits = [None, Some(limit)];
    out.advice("more firings tell more: the standard deviation of a few is poorly known")
}

fn certified(firings: &[Fired], spread: &Scatter) -> Option<Finding> {
    let stated = firings.first()?.certified_ns?;
    let same = firings.iter().all(|one| {
        one.certified_ns
            .is_some_and(|other| (other - stated).abs() <= 1e-9 * stated)
    });
    same.then(|| {
        Finding::within(
            format!("mean total impulse is the certified {stated:.2} N s"),
            spread.mean.clone(),
            [
                Some(stated * (1.0 - MEAN_FROM_CERTIFIED)),
                Some(stated * (1.0 + MEAN_FROM_CERTIFIED)),
            ],
            "within 10 % of the certified value",
            COMMON_PRACTICE,
        )
    })
}

fn each_near_the_mean(firings: &[Fired], one: &Compared, spread: &Scatter) -> Vec<Finding> {
    let mean = spread.mean.value;
    let limits = [mean * (1.0 - ONE_FROM_MEAN), mean * (1.0 + ONE_FROM_MEAN)];
    let pairs = firings.iter().zip(&one.of);
    pairs
        .filter_map(|(firing, value)| {
            let finding = Finding::within(
                format!(
                    "total impulse of {} lies near the mean of all",
                    firing.title
                ),
                value.clone()?,
                limits.map(Some),
                "within 20 % of the mean of all firings",
                "hobby certification practice, from memory, not confirmed",
            );
            // One line for each that strays; the rest is said by the standard deviation.
            (finding.outcome != Outcome::Holds).then_some(finding)
        })
        .collect()
}

fn outlier(firings: &[Fired], one: &Compared, spread: &Scatter) -> Option<Finding> {
    let (largest, limit) = spread.grubbs.zip(spread.grubbs_limit)?;
    let nth = spread.farthest?;
    let outlier = firings.get(nth)?;
    // A spread that measuring alone explains has no outlier, only luck.
    let outcome = when(largest <= limit || spread.p > SIGNIFICANCE);
    let finding = Finding::plain(
        format!("no firing is an outlier in {}", one.name),
        outcome,
        "fails where Grubbs' test of the firing farthest from the mean, two-sided, 5 %, finds one and \
         measuring alone does not explain the spread",
        "ASTM E178; ISO 5725-2",
    );
    let which = format!("firing {} ({})", nth + 1, outlier.title);
    Some(finding.advice(format!("look at {which}: something differs in it")))
}

fn drift(one: &Compared, spread: &Scatter) -> Option<Finding> {
    let p = spread.drift_p?;
    let mut finding = Finding::plain(
        format!("no drift of {} is seen", one.name),
        when(p > SIGNIFICANCE || spread.p > SIGNIFICANCE),
        "fails where the p-value of the slope (Student's t) is 5 % or less and measuring alone does \
         not explain the spread",
        COMMON_PRACTICE,
    );
    finding.measured.clone_from(&spread.drift);
    Some(finding.advice("propellant ages, cells drift, and mornings are cold: see what changed"))
}
