//! Lists of one kind: in order, each thing once, in stretches of any length, with any filter.

use crate::look::*;
use crate::scene::Scene;
use domain::stock::{Filter, Stretch, stretch};
use proptest::prelude::*;
use shared_types::*;

fn yard() -> Scene {
    let mut scene = Scene::yard();
    for number in 0..12 {
        scene = scene.stored(&format!("R-{number:02}"), "Mon 06:00");
        if number % 4 == 1 {
            scene = scene.out(&format!("R-{number:02}"), "Tue 06:00");
        }
    }
    scene
}

fn names(rows: &[StockRow]) -> Vec<String> {
    rows.iter().map(|row| row.thing.to_string()).collect()
}

#[test]
fn a_list_is_in_order_and_says_where_each_is_and_what_ends_first() {
    let book = yard().book();
    let Stretch { rows, last } = stretch(&book, Kind::Roll, &Filter::default(), None, 50, 50, when("Tue 10:00"));
    assert!(rows.len() == 12 && last.is_none());
    assert!(names(&rows).is_sorted());
    assert_eq!(rows[1].say, "R-01 is out since Tue 06:00.");
    let first = rows[1].ends_first.as_ref().unwrap();
    assert_eq!((first.limit, first.runs), (LimitName::TackLife, true));
    // Nothing had come by then.
    let before = stretch(&book, Kind::Roll, &Filter::default(), None, 50, 50, when("Mon 01:00"));
    assert_eq!(names(&before.rows), Vec::<String>::new());
}

proptest! {
    #[test]
    fn stretches_one_after_another_are_the_whole_list(most in 1usize..6, looked_at in 1usize..6, out in any::<bool>()) {
        let book = yard().book();
        let filter = Filter { state: out.then_some(State::Out), ..Filter::default() };
        let whole = stretch(&book, Kind::Roll, &filter, None, 50, 50, when("Tue 10:00")).rows;
        prop_assert_eq!(whole.len(), if out { 3 } else { 12 });
        let (mut all, mut after) = (Vec::new(), None);
        loop {
            let Stretch { rows, last } =
                stretch(&book, Kind::Roll, &filter, after.as_ref(), most, looked_at, when("Tue 10:00"));
            prop_assert!(rows.len() <= most);
            all.extend(rows);
            match last {
                Some(last) => after = Some(last),
                None => break,
            }
        }
        prop_assert_eq!(all, whole);
    }
}
