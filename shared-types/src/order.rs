//! The order in which people look for codes: R-2 stands before R-10.

use std::cmp::Ordering;

/// Runs of digits by their value, everything else byte by byte; what is then alike by its bytes, so that
/// only equal codes are equal.
pub(crate) fn as_people_count(one: &str, other: &str) -> Ordering {
    let (mut left, mut right) = (one.as_bytes(), other.as_bytes());
    loop {
        let (Some((a, left_rest)), Some((b, right_rest))) = (left.split_first(), right.split_first()) else {
            return left.len().cmp(&right.len()).then_with(|| one.cmp(other));
        };
        let apart = if a.is_ascii_digit() && b.is_ascii_digit() {
            let (number, rest) = digits(left);
            let (other_number, other_rest) = digits(right);
            (left, right) = (rest, other_rest);
            // Without zeros in front the longer number is the larger one, however many digits it has.
            number.len().cmp(&other_number.len()).then_with(|| number.cmp(other_number))
        } else {
            (left, right) = (left_rest, right_rest);
            a.cmp(b)
        };
        if apart.is_ne() {
            return apart;
        }
    }
}

/// The number at the beginning, without the zeros in front of it, and what follows.
fn digits(text: &[u8]) -> (&[u8], &[u8]) {
    let end = text.iter().position(|byte| !byte.is_ascii_digit()).unwrap_or(text.len());
    let (number, rest) = text.split_at(end);
    let zeros = number.iter().take_while(|byte| **byte == b'0').count();
    (number.get(zeros..).unwrap_or_default(), rest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_stand_as_people_count() {
        let sorted = [
            "",
            "R",
            "R-",
            "R-0",
            "R-00",
            "R-01",
            "R-1",
            "R-1-2",
            "R-1-10",
            "R-1B",
            "R-2",
            "R-10",
            "R-18446744073709551616",
            "R-99999999999999999999999999999999999999",
            "RA-1",
            "\u{c9}-2",
            "\u{c9}-10",
        ];
        for pair in sorted.windows(2) {
            assert_eq!(as_people_count(pair[0], pair[1]), Ordering::Less, "{pair:?}");
            assert_eq!(as_people_count(pair[1], pair[0]), Ordering::Greater, "{pair:?}");
        }
    }
}
