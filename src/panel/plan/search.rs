//! Tests: the planners against searches that know nothing of how they plan.
//!
//! `everything` tries each sequence of commands and data, in any order and with any window, and so gives the least there is
//! in the addressing mode. The searches `in_kind` build each plan of the kind that the planners promise to choose from.

use std::collections::BinaryHeap;

use proptest::prelude::*;
use proptest::strategy::ValueTree;

use super::*;

/// A picture of `columns` by `pages` bytes with changed bytes, and where the pointers were left.
#[derive(Clone, Debug)]
struct Case {
    columns: usize,
    pages: usize,
    /// Changed bytes as (page, column), in reading order.
    changed: Vec<(usize, usize)>,
    left: Option<Left>,
}

/// First and last column, first and last page, column and page.
type Left = (usize, usize, usize, usize, usize, usize);

impl Case {
    fn before(&self) -> Vec<u8> {
        vec![0x11; self.columns * self.pages]
    }

    fn after(&self) -> Vec<u8> {
        let mut new = self.before();
        for &(page, column) in &self.changed {
            new[page * self.columns + column] = 0xee;
        }
        new
    }

    /// Which bit of the mask of changed bytes stands for this byte.
    fn bit(&self, page: usize, column: usize) -> usize {
        self.changed.iter().position(|changed| *changed == (page, column)).map_or(0, |index| 1 << index)
    }
}

fn cases(columns: usize, pages: usize, most: usize) -> impl Strategy<Value = Case> {
    let changed = prop::collection::btree_set((0..pages, 0..columns), 1..=most);
    let left = (0..columns, 0..columns, 0..pages, 0..pages, any::<prop::sample::Index>(), any::<prop::sample::Index>());
    (changed, prop::option::of(left)).prop_map(move |(changed, left)| Case {
        columns,
        pages,
        changed: changed.into_iter().collect(),
        left: left.map(|(a, b, p, q, column, page)| {
            let (a, b, p, q) = (a.min(b), a.max(b), p.min(q), p.max(q));
            (a, b, p, q, a + column.index(b - a + 1), p + page.index(q - p + 1))
        }),
    })
}

/// Of all plans, in vertical addressing.
mod windows {
    use super::*;

    /// What came last on the bus.
    const NOTHING: usize = 0;
    const COMMANDS: usize = 1;
    const ONE_BYTE: usize = 2;
    const BYTES: usize = 3;

    #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
    struct State {
        a: usize,
        b: usize,
        p: usize,
        q: usize,
        column: usize,
        page: usize,
        last: usize,
        remaining: usize,
    }

    /// The least number of bus bytes over all sequences of 0x21, 0x22 and data.
    pub(super) fn everything(case: &Case) -> u32 {
        let (columns, pages) = (case.columns, case.pages);
        let masks = 1 << case.changed.len();
        let number = |s: &State| {
            [
                (s.a, columns),
                (s.b, columns),
                (s.p, pages),
                (s.q, pages),
                (s.column, columns),
                (s.page, pages),
                (s.last, 4),
                (s.remaining, masks),
            ]
            .iter()
            .fold(0, |number, (value, limit)| number * limit + value)
        };
        let mut least = vec![u32::MAX; columns.pow(3) * pages.pow(3) * 4 * masks];
        // What commands lead to depends on less than the whole state: the best start of each so far.
        let mut best_both = vec![u32::MAX; masks];
        let mut best_columns = vec![u32::MAX; masks * pages.pow(3)];
        let mut best_pages = vec![u32::MAX; masks * columns.pow(3)];
        let mut queue = BinaryHeap::new();
        let all_columns: Vec<(usize, usize)> = (0..columns).flat_map(|a| (a..columns).map(move |b| (a, b))).collect();
        let all_pages: Vec<(usize, usize)> = (0..pages).flat_map(|p| (p..pages).map(move |q| (p, q))).collect();
        let remaining = masks - 1;
        let push = |queue: &mut BinaryHeap<_>, least: &mut Vec<u32>, cost: u32, state: State| {
            let number = number(&state);
            if cost < least[number] {
                least[number] = cost;
                queue.push((std::cmp::Reverse(cost), state));
            }
        };
        match case.left {
            Some((a, b, p, q, column, page)) => {
                push(&mut queue, &mut least, 0, State { a, b, p, q, column, page, last: NOTHING, remaining });
            }
            None => {
                for &(a, b) in &all_columns {
                    for &(p, q) in &all_pages {
                        let state = State { a, b, p, q, column: a, page: p, last: COMMANDS, remaining };
                        push(&mut queue, &mut least, 2 + 6, state);
                    }
                }
            }
        }
        while let Some((std::cmp::Reverse(cost), state)) = queue.pop() {
            if cost > least[number(&state)] {
                continue;
            }
            if state.remaining == 0 {
                return cost;
            }
            let State { a, b, p, q, column, page, last, remaining } = state;
            // A byte.
            let step = if last == NOTHING || last == COMMANDS { 3 } else { 1 };
            let mut next = state;
            next.last = if step == 3 { ONE_BYTE } else { BYTES };
            next.remaining &= !case.bit(page, column);
            (next.column, next.page) = match (page == q, column == b) {
                (false, _) => (column, page + 1),
                (true, false) => (column + 1, p),
                (true, true) => (a, p),
            };
            push(&mut queue, &mut least, cost + step, next);
            // Commands: a block of its own, after a single byte one cheaper. Two blocks in a row are one block.
            if last == COMMANDS {
                continue;
            }
            let cost = cost + 2 - u32::from(last == ONE_BYTE);
            let band = ((remaining * pages + p) * pages + q) * pages + page;
            if cost < best_columns[band] {
                best_columns[band] = cost;
                for &(a, b) in &all_columns {
                    let next = State { a, b, column: a, last: COMMANDS, ..state };
                    push(&mut queue, &mut least, cost + 3, next);
                }
            }
            let window = ((remaining * columns + a) * columns + b) * columns + column;
            if cost < best_pages[window] {
                best_pages[window] = cost;
                for &(p, q) in &all_pages {
                    let next = State { p, q, page: p, last: COMMANDS, ..state };
                    push(&mut queue, &mut least, cost + 3, next);
                }
            }
            if cost < best_both[remaining] {
                best_both[remaining] = cost;
                for &(a, b) in &all_columns {
                    for &(p, q) in &all_pages {
                        let next = State { a, b, p, q, column: a, page: p, last: COMMANDS, remaining };
                        push(&mut queue, &mut least, cost + 6, next);
                    }
                }
            }
        }
        unreachable!("every byte can be reached");
    }

    /// Costs with the last run being longer than a byte, and being one byte.
    type Ends = [u32; 2];

    fn min(one: Ends, other: Ends) -> Ends {
        [one[0].min(other[0]), one[1].min(other[1])]
    }

    /// What a command block after these runs starts from.
    fn followed(ends: Ends) -> u32 {
        ends[0].min(ends[1].saturating_sub(u32::from(ends[1] < FAR)))
    }

    /// One sweep, byte by byte: `dirty(place)` says what must be written, the first byte is that at `start`, already paid for
    /// up to its data control byte.
    fn sweep(height: usize, places: usize, start: usize, begun: u32, dirty: &dyn Fn(usize) -> bool) -> Ends {
        let last = (start..places).rev().find(|place| dirty(*place)).expect("something to write");
        // after[place]: costs with that place written last.
        let mut after = vec![[FAR; 2]; places];
        after[start] = [FAR, begun + 1];
        for place in start..=last {
            let ends = after[place];
            if place < last {
                after[place + 1] = min(after[place + 1], [ends[0].min(ends[1]).saturating_add(1).min(FAR), FAR]);
            }
            let mut to = place + 1 + height;
            while to <= last && !(place + 1..to).any(dirty) {
                after[to] = min(after[to], [FAR, followed(ends).saturating_add(2 + 3 + 2 + 1).min(FAR)]);
                to += height;
            }
        }
        after[last]
    }

    /// Sweeps for one group of pages from left to right: each way to cut its changed columns, each band for each piece.
    fn sweeps(case: &Case, group: (usize, usize), columns: &[usize], before: u32) -> Ends {
        let mut least = [FAR; 2];
        for cut in 1..=columns.len() {
            let (piece, rest) = columns.split_at(cut);
            for first in group.0..=group.1 {
                for last in first..=group.1 {
                    let held = case
                        .changed
                        .iter()
                        .filter(|(page, column)| piece.contains(column) && (group.0..=group.1).contains(page));
                    let held: Vec<_> = held.collect();
                    if !held.iter().all(|(page, _)| (first..=last).contains(page)) {
                        continue;
                    }
                    let height = last - first + 1;
                    let dirty =
                        |place: usize| held.iter().any(|(page, column)| column * height + page - first == place);
                    let start = piece[0] * height;
                    let ends = sweep(height, case.columns * height, start, before + 2 + 6 + 2, &dirty);
                    let ends = if rest.is_empty() { ends } else { sweeps(case, group, rest, followed(ends)) };
                    least = min(least, ends);
                }
            }
        }
        least
    }

    /// The least of the plans for the pages from `from_page` on in which each sweep sets both windows.
    fn afresh(case: &Case, from_page: usize, before: Ends) -> Ends {
        let mut least = [FAR; 2];
        for last in from_page..case.pages {
            let mut columns: Vec<usize> =
                case.changed.iter().filter(|(page, _)| (from_page..=last).contains(page)).map(|(_, c)| *c).collect();
            columns.sort_unstable();
            columns.dedup();
            let ends =
                if columns.is_empty() { before } else { sweeps(case, (from_page, last), &columns, followed(before)) };
            least = min(least, if last + 1 == case.pages { ends } else { afresh(case, last + 1, ends) });
        }
        least
    }

    /// The least of the plans that begin with a command: afresh, or in the band that was left.
    fn with_commands(case: &Case, before: u32) -> u32 {
        let ends = afresh(case, 0, [before, FAR]);
        let mut least = ends[0].min(ends[1]);
        let Some((_, _, p, q, _, page)) = case.left else { return least };
        if case.changed.iter().all(|(page, _)| (p..=q).contains(page)) {
            let height = q - p + 1;
            let dirty = |place: usize| case.changed.iter().any(|(page, column)| column * height + page - p == place);
            let places = case.columns * height;
            let first = (0..places).find(|place| dirty(*place)).expect("something changed");
            for start in (0..=first).filter(|start| start % height == page - p) {
                let ends = sweep(height, places, start, before + 2 + 3 + 2, &dirty);
                least = least.min(ends[0]).min(ends[1]);
            }
        }
        least
    }

    /// The least of the three kinds of plan that the planner compares.
    pub(super) fn in_kind(case: &Case) -> u32 {
        let least = with_commands(case, 0);
        let Some((a, b, p, q, mut column, mut page)) = case.left else { return least };
        let inside = |(page, column): &(usize, usize)| (p..=q).contains(page) && (a..=b).contains(column);
        let mut unsent: Vec<_> = case.changed.iter().filter(|cell| inside(cell)).collect();
        if unsent.is_empty() {
            return least;
        }
        let mut bytes = 0;
        while !unsent.is_empty() {
            unsent.retain(|cell| **cell != (page, column));
            bytes += 1;
            (column, page) = match (page == q, column == b) {
                (false, _) => (column, page + 1),
                (true, false) => (column + 1, p),
                (true, true) => (a, p),
            };
        }
        let elsewhere: Vec<_> = case.changed.iter().copied().filter(|cell| !inside(cell)).collect();
        if elsewhere.is_empty() {
            return least.min(2 + bytes);
        }
        let rest = Case { changed: elsewhere, left: Some((a, b, p, q, column, page)), ..case.clone() };
        least.min(with_commands(&rest, 2 + bytes - u32::from(bytes == 1)))
    }
}

/// In page addressing, the least over all sequences of commands and data; with `in_order`, a changed byte counts as sent
/// only once those before it are.
fn pages_search(case: &Case, in_order: bool) -> u32 {
    // What came last on the bus, as above; columns run to one past the last, where the pointer is unknown.
    let (nothing, commands, one_byte, bytes) = (0, 1, 2, 3);
    let masks = 1 << case.changed.len();
    let number = |page: usize, column: usize, last: usize, remaining: usize| {
        ((page * (case.columns + 1) + column) * 4 + last) * masks + remaining
    };
    let mut least = vec![u32::MAX; case.pages * (case.columns + 1) * 4 * masks];
    let mut queue = BinaryHeap::new();
    let push = |queue: &mut BinaryHeap<_>, least: &mut Vec<u32>, cost: u32, state: (usize, usize, usize, usize)| {
        let number = number(state.0, state.1, state.2, state.3);
        if cost < least[number] {
            least[number] = cost;
            queue.push((std::cmp::Reverse(cost), state));
        }
    };
    match case.left {
        Some((.., column, page)) => push(&mut queue, &mut least, 0, (page, column, nothing, masks - 1)),
        None => {
            for page in 0..case.pages {
                for column in 0..case.columns {
                    push(&mut queue, &mut least, 2 + 3, (page, column, commands, masks - 1));
                }
            }
        }
    }
    while let Some((std::cmp::Reverse(cost), (page, column, last, remaining))) = queue.pop() {
        if cost > least[number(page, column, last, remaining)] {
            continue;
        }
        if remaining == 0 {
            return cost;
        }
        if column < case.columns {
            let (step, now) = if last == nothing || last == commands { (3, one_byte) } else { (1, bytes) };
            let bit = case.bit(page, column);
            let counts = !in_order || bit == 1 << remaining.trailing_zeros();
            let next = if counts { remaining & !bit } else { remaining };
            push(&mut queue, &mut least, cost + step, (page, column + 1, now, next));
        }
        if last != commands {
            let cost = cost + 2 - u32::from(last == one_byte);
            for to in 0..case.pages {
                push(&mut queue, &mut least, cost + 1 - 1, (to, column, commands, remaining));
            }
            for to in 0..case.columns {
                push(&mut queue, &mut least, cost + 2, (page, to, commands, remaining));
                for page in 0..case.pages {
                    push(&mut queue, &mut least, cost + 3, (page, to, commands, remaining));
                }
            }
        }
    }
    unreachable!("every byte can be reached");
}

/// The least of the plans that the planner compares: in reading order from the top, or from the pointer on.
fn pages_in_kind(case: &Case) -> u32 {
    let mut least = pages_search(case, true);
    if let Some((.., column, page)) = case.left {
        let mut changed = case.changed.clone();
        changed.sort_by_key(|cell| (*cell < (page, column), *cell));
        least = least.min(pages_search(&Case { changed, ..case.clone() }, true));
    }
    least
}

/// Brings a planner to the pointers of the case, plans, and returns the cost of the update.
fn windows_cost(case: &Case) -> u32 {
    let mut planner = Windows::new(case.columns as u32);
    planner.set_left(case.left.map(|(a, b, p, q, c, r)| [a, b, p, q, c, r].map(|value| value as u8)));
    let mut script = Script::default();
    planner.plan(Some(&case.before()), &case.after(), &mut script);
    script.traffic().bytes as u32
}

fn pages_cost(case: &Case) -> u32 {
    let mut planner = Pages::new(case.columns as u32, case.pages as u32, 0);
    planner.set_left(case.left.map(|(.., column, page)| (page as u8, column as u8)));
    let mut script = Script::default();
    planner.plan(Some(&case.before()), &case.after(), &mut script);
    script.traffic().bytes as u32
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, ..ProptestConfig::default() })]

    #[test]
    fn windows_are_planned_at_the_least_cost_of_their_kind(
        case in prop_oneof![cases(6, 2, 6), cases(10, 2, 6), cases(6, 3, 6), cases(30, 3, 5), cases(20, 4, 4)]
    ) {
        prop_assert_eq!(windows_cost(&case), windows::in_kind(&case));
    }

    #[test]
    fn pages_are_planned_at_the_least_cost_of_their_kind(case in prop_oneof![cases(10, 2, 8), cases(40, 3, 8)]) {
        prop_assert_eq!(pages_cost(&case), pages_in_kind(&case));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, ..ProptestConfig::default() })]

    #[test]
    fn one_changed_box_costs_the_least_that_there_is(case in boxes(7, 3)) {
        prop_assert_eq!(windows_cost(&case), windows::everything(&case));
    }
}

/// One box of at most eight bytes, all of it changed, the pointers unknown.
fn boxes(columns: usize, pages: usize) -> impl Strategy<Value = Case> {
    (0..columns, 0..pages, 1..=columns, 1..=pages).prop_map(move |(left, top, width, height)| {
        let (left, top) = (left.min(columns - 1), top.min(pages - 1));
        let height = height.min(pages - top);
        let width = width.min(columns - left).min(8 / height);
        let changed = (top..top + height).flat_map(|page| (left..left + width).map(move |column| (page, column)));
        Case { columns, pages, changed: changed.collect(), left: None }
    })
}

/// Cases that are the same in every run.
fn sample(strategy: &impl Strategy<Value = Case>, count: usize) -> Vec<Case> {
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    (0..count).map(|_| strategy.new_tree(&mut runner).expect("a case").current()).collect()
}

/// How far the planners stay above the least that any order of any commands reaches, on scattered single bytes, which is the
/// hardest there is for them. The bounds are what was measured.
#[test]
fn scattered_bytes_cost_little_more_than_the_least_there_is() {
    let gaps = |cases: &[Case], cost: &dyn Fn(&Case) -> u32, least: &dyn Fn(&Case) -> u32| {
        let gaps: Vec<u32> =
            cases.iter().map(|case| cost(case).checked_sub(least(case)).expect("nothing is below the least")).collect();
        (gaps.iter().filter(|gap| **gap == 0).count() * 100 / gaps.len(), gaps.iter().max().copied().unwrap_or(0))
    };
    let small = sample(&cases(6, 2, 6), 100);
    let wide = sample(&cases(12, 2, 5), 30);
    let (equal, worst) = gaps(&small, &windows_cost, &windows::everything);
    println!("windows 6x2: {equal} % at the least there is, worst {worst} bytes above");
    assert!(equal >= 90 && worst <= 4);
    let (equal, worst) = gaps(&wide, &windows_cost, &windows::everything);
    println!("windows 12x2: {equal} % at the least there is, worst {worst} bytes above");
    assert!(equal >= 83 && worst <= 1);
    let (equal, worst) = gaps(&small, &pages_cost, &|case| pages_search(case, false));
    println!("pages 6x2: {equal} % at the least there is, worst {worst} bytes above");
    assert!(equal >= 75 && worst <= 5);
}
