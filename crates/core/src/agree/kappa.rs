//! Agreement of two raters by categories, beyond chance.

use super::Undefined;

/// Cohen's kappa of a table of amounts (counts, seconds), rows by one rater and columns by the other: (po − pe)/(1 − pe)
/// with the observed share po on the diagonal and the share pe that the margins give by chance (Cohen 1960, Educational
/// and Psychological Measurement 20:37–46).
pub fn cohen_kappa<const N: usize>(table: &[[f64; N]; N]) -> Result<f64, Undefined> {
    let all: f64 = table.iter().flatten().sum();
    if all <= 0.0 {
        return Err(Undefined::Nothing);
    }
    let observed = (0..N).map(|i| table[i][i]).sum::<f64>() / all;
    let margins = (0..N).map(|i| {
        let row: f64 = table[i].iter().sum();
        let column: f64 = table.iter().map(|row| row[i]).sum();
        (row / all) * (column / all)
    });
    let chance: f64 = margins.sum();
    if chance >= 1.0 {
        return Err(Undefined::OneCategory);
    }
    Ok((observed - chance) / (1.0 - chance))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rounded(value: Result<f64, Undefined>) -> f64 {
        (value.unwrap() * 1e4).round() / 1e4
    }

    #[test]
    fn published_examples() {
        // Cohen 1960, 200 patients in three categories: .492 printed.
        let cohen = [[88., 14., 18.], [10., 40., 10.], [2., 6., 12.]];
        assert_eq!(rounded(cohen_kappa(&cohen)), 0.4915);
        // Textbook examples: 0.40; and the same share of agreement with other margins.
        assert_eq!(rounded(cohen_kappa(&[[20., 5.], [10., 15.]])), 0.4);
        assert_eq!(rounded(cohen_kappa(&[[45., 15.], [25., 15.]])), 0.1304);
        assert_eq!(rounded(cohen_kappa(&[[25., 35.], [5., 35.]])), 0.2593);
    }

    #[test]
    fn where_chance_explains_all_there_is_no_kappa() {
        assert_eq!(cohen_kappa(&[[7., 0.], [0., 0.]]), Err(Undefined::OneCategory));
        assert_eq!(cohen_kappa(&[[0., 0.], [0., 0.]]), Err(Undefined::Nothing));
    }
}
