//! Two listenings of the same span, word by word: where they agree, and which ranges they read differently.

/// Words `first..end` of the one were heard as words `other_first..other_end` by the other. Either range may be empty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Difference {
    pub first: usize,
    pub end: usize,
    pub other_first: usize,
    pub other_end: usize,
}

/// The ranges in which `one` and `other` differ, in order, by the fewest words added, left out or replaced.
pub(super) fn differences(one: &[String], other: &[String]) -> Vec<Difference> {
    let mut found: Vec<Difference> = Vec::new();
    for (i, j, same) in path(one, other) {
        if same {
            continue;
        }
        let (end, other_end) = (i.1, j.1);
        match found.last_mut() {
            Some(last) if last.end == i.0 && last.other_end == j.0 => {
                (last.end, last.other_end) = (end, other_end);
            }
            _ => found.push(Difference { first: i.0, end, other_first: j.0, other_end }),
        }
    }
    found
}

type Step = ((usize, usize), (usize, usize), bool);

/// Steps of the cheapest alignment, each with the words of both sides that it takes.
fn path(one: &[String], other: &[String]) -> Vec<Step> {
    let (n, m) = (one.len(), other.len());
    let width = m + 1;
    // cost[i][j]: cheapest alignment of the first i words with the first j.
    let mut cost = vec![0_u32; (n + 1) * width];
    let cell = |cost: &[u32], i: usize, j: usize| cost.get(i * width + j).copied().unwrap_or(u32::MAX / 2);
    for i in 0..=n {
        for j in 0..=m {
            let cheapest = match (i.checked_sub(1), j.checked_sub(1)) {
                (None, None) => 0,
                (Some(up), None) => cell(&cost, up, j) + GAP,
                (None, Some(left)) => cell(&cost, i, left) + GAP,
                (Some(up), Some(left)) => (cell(&cost, up, left) + swap(one.get(up), other.get(left)))
                    .min(cell(&cost, up, j) + GAP)
                    .min(cell(&cost, i, left) + GAP),
            };
            if let Some(place) = cost.get_mut(i * width + j) {
                *place = cheapest;
            }
        }
    }
    let (mut i, mut j) = (n, m);
    let mut steps = Vec::new();
    while i > 0 || j > 0 {
        let here = cell(&cost, i, j);
        let price = if i > 0 && j > 0 { swap(one.get(i - 1), other.get(j - 1)) } else { u32::MAX / 4 };
        if i > 0 && j > 0 && here == cell(&cost, i - 1, j - 1) + price {
            steps.push(((i - 1, i), (j - 1, j), price == 0));
            (i, j) = (i - 1, j - 1);
        } else if i > 0 && here == cell(&cost, i - 1, j) + GAP {
            steps.push(((i - 1, i), (j, j), false));
            i -= 1;
        } else {
            steps.push(((i, i), (j - 1, j), false));
            j -= 1;
        }
    }
    steps.reverse();
    steps
}

/// Price of a word that only one side has.
const GAP: u32 = 10;

/// Price of one word in place of another: a number rather in place of a number.
fn swap(one: Option<&String>, other: Option<&String>) -> u32 {
    match (one, other) {
        (Some(a), Some(b)) if a == b => 0,
        (Some(a), Some(b)) if super::plain::is_number(a) == super::plain::is_number(b) => 10,
        _ => 12,
    }
}

#[cfg(test)]
mod tests {
    use super::{super::plain::plain_text, *};

    #[track_caller]
    fn check(one: &str, other: &str, expect: &str) {
        let (a, b) = (plain_text(one), plain_text(other));
        let show: Vec<String> = differences(&a, &b)
            .iter()
            .map(|d| format!("{}>{}", a[d.first..d.end].join(" "), b[d.other_first..d.other_end].join(" ")))
            .collect();
        assert_eq!(show.join(", "), expect, "one: {one}, other: {other}");
    }

    #[test]
    fn differences_are_found_word_by_word() {
        check("clamp number fourteen", "clamp number 14", "");
        check("clamp number fourteen", "clamp number 40", "fourteen>forty");
        check("back to an a t", "back to an eight eighteen", "a t>eight eighteen");
        check("tooth three six", "236", "tooth three>two hundred thirty");
        check("tooth four six nine", "tooth four six", "nine>");
        check("hypochlorite percent", "hypo five percent", "hypochlorite>hypo five");
        check("", "you", ">you");
        check("", "", "");
    }
}
