//! Side-by-side fits on simulated pairs with a known truth: do the 95 % intervals hold, is the right form picked, does
//! an arm's shadow move the result?
//!
//! The whole table: `cargo test -p undim-correct --release --test side_by_side -- --ignored --nocapture`.

use undim_correct::fit::{Pair, Proposal, Settings, propose};
use undim_model::Text;
use undim_stats::errors_in_variables::Form;

/// `SplitMix64` (G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014), and normal values by Box & Muller (*Ann. Math. Statist.*
/// 29 (1958) 610–611).
struct Random(u64);

impl Random {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        ((z >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// What the device should be corrected to.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Truth {
    Offset,
    Gain,
    Line,
    Hinge,
    /// Reads 10 low under 300 and right above it (common practice, no source): no continuous line holds.
    Jump,
}

const TRUTHS: [Truth; 5] = [Truth::Offset, Truth::Gain, Truth::Line, Truth::Hinge, Truth::Jump];

impl Truth {
    fn of(self, v: f64) -> f64 {
        match self {
            Self::Offset => v + 15.0,
            Self::Gain => 1.12 * v,
            Self::Line => 20.0 + 1.12 * v,
            Self::Hinge => 5.0 + 0.95 * v + 0.35 * (v - 300.0).max(0.0),
            Self::Jump => {
                if v < 290.0 {
                    v + 10.0
                } else {
                    v
                }
            }
        }
    }

    fn form(self) -> Option<Form> {
        match self {
            Self::Offset => Some(Form::Offset),
            Self::Gain => Some(Form::Gain),
            Self::Line => Some(Form::Line),
            Self::Hinge => Some(Form::Hinge),
            Self::Jump => None,
        }
    }
}

#[derive(Debug, Clone, Copy)]
struct Plan {
    truth: Truth,
    pairs: usize,
    /// Of a reading, percent and µmol m⁻² s⁻¹, device and reference.
    percent: [f64; 2],
    least: f64,
    shadowed: f64,
    stated: bool,
}

const LOW: f64 = 30.0;
const HIGH: f64 = 900.0;

fn simulated(plan: &Plan, seed: u64) -> Vec<Pair> {
    let mut random = Random(seed.wrapping_mul(0x2545_f491_4f6c_dd1d) ^ ((plan.truth as u64 + 1) << 40));
    (0..plan.pairs)
        .map(|number| {
            let v = LOW + (HIGH - LOW) * random.uniform();
            let truth = plan.truth.of(v);
            let u_device = (plan.percent[0] / 100.0 * v).hypot(plan.least);
            let u_reference = (plan.percent[1] / 100.0 * truth).hypot(plan.least);
            let mut device = v + u_device * random.normal();
            let reference = truth + u_reference * random.normal();
            // Drawn always, so that the clean pairs of one seed are the same.
            let (chance, depth) = (random.uniform(), 0.35 + 0.4 * random.uniform());
            if chance < plan.shadowed {
                device *= depth;
            }
            Pair {
                station: Text::from(format!("s{number}")),
                time: None,
                scene: None,
                device,
                u_device: plan.stated.then_some(u_device),
                reference,
                u_reference: plan.stated.then_some(u_reference),
                correlation: 0.0,
                reasons: vec![],
            }
        })
        .collect()
}

#[derive(Debug, Default)]
struct Tally {
    proposals: usize,
    right: usize,
    inside: usize,
    asked: usize,
    shift: f64,
    shifts: usize,
    named: usize,
    wrongly_named: usize,
    forms: [usize; 4],
}

fn tally(plan: &Plan, seeds: u64) -> Tally {
    let mut tally = Tally::default();
    for seed in 0..seeds {
        let pairs = simulated(plan, seed);
        let proposal = propose(pairs, &Settings::default());
        let Some(picked) = proposal.picked() else { continue };
        tally.proposals += 1;
        tally.right += usize::from(plan.truth.form() == Some(picked.fitted.form));
        tally.forms[picked.fitted.form as usize] += 1;
        let [low, high] = proposal.span.unwrap_or_default();
        let values: Vec<f64> = (0..25)
            .map(|i| low + (high - low) * (f64::from(i) + 0.5) / 25.0)
            .collect();
        for at in proposal.at(&values) {
            let truth = plan.truth.of(at.device);
            tally.asked += 1;
            tally.inside += usize::from(at.interval[0] <= truth && truth <= at.interval[1]);
        }
        if plan.shadowed > 0.0 {
            let clean = propose(
                simulated(
                    &Plan {
                        shadowed: 0.0,
                        ..*plan
                    },
                    seed,
                ),
                &Settings::default(),
            );
            shifts(&mut tally, &proposal, &clean);
        }
    }
    tally
}

fn shifts(tally: &mut Tally, shadowed: &Proposal, clean: &Proposal) {
    for value in [50.0, 200.0, 500.0] {
        let (Some(one), Some(other)) = (shadowed.at(&[value]).pop(), clean.at(&[value]).pop()) else {
            continue;
        };
        tally.shifts += 1;
        tally.shift += f64::from(u8::from((one.corrected - other.corrected).abs() < one.u));
    }
    for (judged, clean) in shadowed.pairs.iter().zip(&clean.pairs) {
        let is_shadowed = judged.pair.device != clean.pair.device;
        tally.named += usize::from(is_shadowed && !judged.used);
        tally.wrongly_named += usize::from(!is_shadowed && !judged.used);
    }
}

/// A small part of the table, in every run of the tests.
#[test]
fn intervals_hold_and_the_right_form_is_picked() {
    for truth in TRUTHS {
        let plan = Plan {
            truth,
            pairs: 40,
            percent: [1.0, 1.0],
            least: 0.3,
            shadowed: 0.0,
            stated: true,
        };
        let t = tally(&plan, 40);
        let cover = t.inside as f64 / t.asked as f64;
        assert_eq!(t.proposals, 40);
        assert!(cover >= 0.9, "{truth:?} {cover}");
        assert!(truth.form().is_none() || t.right >= 36, "{truth:?} {:?}", t.forms);
    }
}

/// One pair in ten under an arm's shadow.
#[test]
fn shadows_are_named_and_move_little() {
    let plan = Plan {
        truth: Truth::Line,
        pairs: 40,
        percent: [2.0, 1.5],
        least: 0.5,
        shadowed: 0.1,
        stated: true,
    };
    let t = tally(&plan, 25);
    assert!(t.shift / t.shifts as f64 > 0.9, "{t:?}");
    assert!(t.named > 60 && t.wrongly_named < 10, "{t:?}");
}

#[test]
#[ignore = "a table of some minutes"]
fn the_whole_table() {
    let seeds = 200;
    for stated in [true, false] {
        for (percent, least) in [([2.0, 1.5], 0.5), ([1.0, 1.0], 0.3), ([0.3, 0.3], 4.0)] {
            for pairs in [20, 40] {
                for truth in TRUTHS {
                    let plan = Plan {
                        truth,
                        pairs,
                        percent,
                        least,
                        shadowed: 0.0,
                        stated,
                    };
                    let t = tally(&plan, seeds);
                    println!(
                        "{stated:5} {percent:?} {least} n={pairs:2} {truth:?}: cover {:.3} right {:.3} forms {:?}",
                        t.inside as f64 / t.asked.max(1) as f64,
                        t.right as f64 / t.proposals.max(1) as f64,
                        t.forms,
                    );
                }
            }
        }
    }
    for truth in TRUTHS {
        for pairs in [20, 40] {
            let plan = Plan {
                truth,
                pairs,
                percent: [2.0, 1.5],
                least: 0.5,
                shadowed: 0.1,
                stated: true,
            };
            let t = tally(&plan, seeds);
            println!(
                "shadowed {truth:?} n={pairs}: cover {:.3} moved by less than u {:.3} named {} wrongly {} of {}",
                t.inside as f64 / t.asked.max(1) as f64,
                t.shift / t.shifts.max(1) as f64,
                t.named,
                t.wrongly_named,
                t.proposals * pairs
            );
        }
    }
}
