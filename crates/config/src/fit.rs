//! The `fit` of a correction (formats, section 4): its numbers must belong together.

use crate::item::Item;
use crate::mention::{Mention, What};
use crate::walk::Table;
use undim_model::{Fit, FitModel};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Offset,
    Gain,
    Line,
    Hinge,
}

impl Form {
    fn coefficients(self) -> (usize, &'static str) {
        match self {
            Self::Offset => (1, "[a]"),
            Self::Gain => (1, "[b]"),
            Self::Line => (2, "[a, b]"),
            Self::Hinge => (3, "[a, b, c]"),
        }
    }
}

/// Reads a fit; `None` where something in it is wrong, which is then said.
pub(crate) fn read_fit(table: &mut Table, mentions: &mut Vec<Mention>) -> Option<Fit> {
    let forms = [
        ("offset", Form::Offset),
        ("gain", Form::Gain),
        ("line", Form::Line),
        ("hinge", Form::Hinge),
    ];
    let form = table
        .need("model", "model = \"line\"")
        .and_then(|item| item.word(&forms));
    let coefficients = table.need("coefficients", "coefficients = [a, b]");
    let coefficients = coefficients.and_then(|item| read_coefficients(&item, form?));
    let covariance = table.take("covariance");
    if covariance.is_none() {
        table.sheet.warn(
            &table.span,
            "this fit has no covariance: its own uncertainty counts as nothing",
            "write the covariance that came with the fit",
        );
    }
    let is_written = covariance.is_some();
    let covariance = covariance.and_then(|item| read_covariance(&item, form?));
    let over = table.take("over").and_then(|item| item.range());
    let pairs = table.take("pairs").and_then(|item| item.whole());
    let reference = table.take("reference").and_then(|item| item.id());
    let knot = knot(table, form, over);
    table.finish();
    let reference = reference.map(|name| {
        let id = name.value.clone();
        mentions.push(Mention {
            what: What::Reference,
            name,
        });
        id
    });
    let coefficients = coefficients?;
    let none = vec![vec![0.0; coefficients.len()]; coefficients.len()];
    Some(Fit {
        model: match form? {
            Form::Offset => FitModel::Offset,
            Form::Gain => FitModel::Gain,
            Form::Line => FitModel::Line,
            Form::Hinge => FitModel::Hinge { knot: knot? },
        },
        coefficients,
        covariance: if is_written { covariance? } else { none },
        over,
        pairs,
        reference,
    })
}

fn read_coefficients(item: &Item, form: Form) -> Option<Vec<f64>> {
    let list = item.list()?;
    let (count, names) = form.coefficients();
    if list.len() != count {
        item.mistake(
            format!(
                "this model has {count} coefficients {names}; here are {}",
                list.len()
            ),
            "check `model`: offset v + a, gain b·v, line a + b·v, hinge a + b·v + c·max(0, v − knot)",
        );
        return None;
    }
    let numbers: Vec<f64> = list.iter().filter_map(Item::number).collect();
    (numbers.len() == count).then_some(numbers)
}

fn knot(table: &mut Table, form: Option<Form>, over: Option<[f64; 2]>) -> Option<f64> {
    if form != Some(Form::Hinge) {
        if let Some(item) = table.take("knot")
            && form.is_some()
        {
            table.sheet.mistake(
                &item.key_span,
                "only a hinge has a `knot`",
                "remove it, or write model = \"hinge\"",
            );
        }
        return None;
    }
    let item = table.need("knot", "knot = 300.0")?;
    let knot = item.number()?;
    if over.is_some_and(|[from, to]| !(from..=to).contains(&knot)) {
        table.sheet.warn(
            &item.span,
            format!("the knot {knot} lies outside `over`: the slope never changes there"),
            "check `knot` and `over`; both are on the scale of v",
        );
    }
    Some(knot)
}

fn read_covariance(item: &Item, form: Form) -> Option<Vec<Vec<f64>>> {
    let rows = item.list()?;
    let matrix: Vec<Vec<f64>> = rows
        .iter()
        .map(|row| {
            row.list()
                .map(|row| row.iter().filter_map(Item::number).collect())
        })
        .collect::<Option<_>>()?;
    let (count, names) = form.coefficients();
    let size = matrix.len();
    let fits = size == count || (form == Form::Hinge && size == 4);
    if !fits || matrix.iter().any(|row| row.len() != size) {
        let sizes = if form == Form::Hinge {
            "3 × 3 for [a, b, c], or 4 × 4 with the knot last".to_owned()
        } else {
            format!("{count} × {count} for {names}")
        };
        item.mistake(
            format!("this covariance must be {sizes}"),
            "write it row by row, [[…], […]]",
        );
        return None;
    }
    if let Some((row, column)) = asymmetry(&matrix) {
        item.mistake(
            format!(
                "this covariance is not symmetric: row {} column {} differs from row {} column {}",
                row + 1,
                column + 1,
                column + 1,
                row + 1
            ),
            "copy it again from the fit",
        );
        return None;
    }
    if !is_positive_semidefinite(&matrix) {
        item.mistake(
            "this is no covariance: a variance is negative or a correlation exceeds 1",
            "copy it again from the fit, with more digits",
        );
        return None;
    }
    Some(matrix)
}

fn asymmetry(matrix: &[Vec<f64>]) -> Option<(usize, usize)> {
    let at = |row: usize, column: usize| matrix.get(row).and_then(|row| row.get(column)).copied();
    (0..matrix.len())
        .flat_map(|row| (0..row).map(move |column| (row, column)))
        .find(|(row, column)| match (at(*row, *column), at(*column, *row)) {
            (Some(a), Some(b)) => (a - b).abs() > 1e-9 * a.abs().max(b.abs()),
            _ => true,
        })
}

/// A correlation written with few digits may come out this much above 1.
const ROUNDING: f64 = 1e-6;

/// True where no combination of the coefficients has a negative variance: Cholesky's factorisation of
/// the correlation matrix, its diagonal raised by what rounding costs, succeeds (Golub & Van Loan,
/// Matrix Computations, 4th ed., section 4.2).
fn is_positive_semidefinite(matrix: &[Vec<f64>]) -> bool {
    let size = matrix.len();
    let at = |row: usize, column: usize| {
        let row = matrix.get(row);
        row.and_then(|row| row.get(column)).copied().unwrap_or(f64::NAN)
    };
    let sd: Vec<f64> = (0..size).map(|i| at(i, i).sqrt()).collect();
    let correlation = |i: usize, j: usize| {
        let scale = sd[i] * sd[j];
        match (i == j, scale == 0.0, at(i, j) == 0.0) {
            (true, ..) => 1.0 + ROUNDING,
            (false, true, true) => 0.0,
            // Something without variance can't vary together with anything: fails below.
            (false, true, false) => f64::INFINITY,
            (false, false, _) => at(i, j) / scale,
        }
    };
    let mut lower = vec![vec![0.0_f64; size]; size];
    for i in 0..size {
        if sd[i].is_nan() {
            return false;
        }
        for j in 0..=i {
            let done: f64 = (0..j).map(|k| lower[i][k] * lower[j][k]).sum();
            let rest = correlation(i, j) - done;
            if i == j {
                if rest.is_nan() || rest <= 0.0 {
                    return false;
                }
                lower[i][i] = rest.sqrt();
            } else {
                lower[i][j] = rest / lower[j][j];
            }
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn covariances() {
        let good: [&[&[f64]]; 4] = [
            &[&[1.0, 0.0], &[0.0, 0.0004]],
            &[&[1.10, -0.0045], &[-0.0045, 0.000_030]],
            &[&[0.0, 0.0], &[0.0, 0.0]],
            // A perfect correlation: a rounded rank-one matrix.
            &[&[4.0, 2.0], &[2.0, 1.0]],
        ];
        let rows = |matrix: &[&[f64]]| matrix.iter().map(|row| row.to_vec()).collect::<Vec<_>>();
        for matrix in good {
            assert!(is_positive_semidefinite(&rows(matrix)), "{matrix:?}");
        }
        let bad: [&[&[f64]]; 4] = [
            &[&[1.0, 1.1], &[1.1, 1.0]],
            &[&[-1.0]],
            &[&[0.0, 0.5], &[0.5, 1.0]],
            // Each pair is possible, the three together are not.
            &[&[1.0, 0.9, -0.9], &[0.9, 1.0, 0.9], &[-0.9, 0.9, 1.0]],
        ];
        for matrix in bad {
            assert!(!is_positive_semidefinite(&rows(matrix)), "{matrix:?}");
        }
        assert_eq!(asymmetry(&rows(&[&[1.0, 0.1], &[0.2, 1.0]])), Some((1, 0)));
    }
}
