//! The planner for vertical addressing with windows (SSD1306).
//!
//! What enters and leaves is said one floor up, and so is which plans are compared. A group of pages is solved by a dynamic
//! programme over its changed columns. All that the future depends on is the band of the current sweep and whether the current
//! run is a single byte (which makes the next step one byte cheaper): in a sweep the page pointer after the last changed byte
//! of a column is the same whatever was skipped before. Groups are then joined by a second, small programme over the pages.

use super::band::{BANDS, Band, PAGES, Pointer};
use super::{FAR, differences};
use crate::panel::{Command, Script};

/// Bytes to begin the very first run on from the pointer, and then what each kind of step adds to a run before it.
const GO_ON: u32 = 2;
/// End of a run, 0x21 with its arguments, beginning of the next run.
const MOVE_COLUMN: u32 = 2 + 3 + 2;
/// End of a run, 0x21 and 0x22 with their arguments, beginning of the next run.
const MOVE_BOTH: u32 = 2 + 6 + 2;

/// The changed bytes of one column within a group.
#[derive(Clone, Copy, Debug)]
struct Extent {
    column: u8,
    /// From the first to the last changed page: all of these are sent, whatever the plan.
    pages: Band,
    /// How many bytes the columns after this one take at least.
    later: u32,
}

/// How a group is entered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Entry {
    /// With both windows set; any sweeps in any bands.
    Afresh,
    /// With both windows set; one sweep in this band is to do.
    OneSweep(Band),
    /// With the columns set, in the band and at the page where the pointer was left; one sweep is to do.
    OnInBand(Band, u8),
}

/// Whether the last run of a group shall be a single byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Single {
    Either,
    Yes,
    No,
}

/// How the changed bytes of a column were reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    /// As the first of the group.
    First,
    /// The run before goes on.
    Through,
    /// By 0x21 within the sweep.
    Skip,
    /// By the beginning of a new sweep, from one in the band with this index.
    Sweep(u8),
}

#[derive(Clone, Copy, Debug)]
struct Origin {
    way: Way,
    /// Whether the run before was a single byte.
    single: bool,
}

/// Bytes in one go, counted in their band.
#[derive(Clone, Copy, Debug)]
struct Run {
    band: Band,
    /// Whether the pages have to be set as well as the columns.
    sets_pages: bool,
    start: u32,
    end: u32,
}

/// The last group of the best cut of the pages above some page.
#[derive(Clone, Copy, Debug, Default)]
struct Cut {
    /// First page of that group, or `None` where the page before is clean and belongs to no group.
    group: Option<u8>,
    /// Whether the run before that group was a single byte.
    single: bool,
}

/// Plans updates of a controller with windows; see the [module](super).
#[derive(Debug)]
pub struct Windows {
    columns: usize,
    pointer: Option<Pointer>,
    /// Changed pages of each column, a bit a page.
    masks: Vec<u8>,
    /// The same, kept aside while the plan is tried that goes on from the pointer first.
    all_masks: Vec<u8>,
    /// The columns with changes, and their masks.
    dirty: Vec<(u8, u8)>,
    /// The group of pages being solved, and its changed columns.
    group: Band,
    extents: Vec<Extent>,
    /// For each changed column and each band.
    origins: Vec<[Origin; 2]>,
    /// The bands that sweeps of the group may have.
    bands: Vec<Band>,
    /// The band in which the cheapest plan just solved ends, its last run being longer than a byte or not.
    last_bands: [usize; 2],
    runs: Vec<Run>,
    /// The runs after one that goes on from the pointer.
    runs_after: Vec<Run>,
    /// The runs of the sweep in the band that was left.
    runs_in_band: Vec<Run>,
    path: Vec<(Band, Origin)>,
}

impl Windows {
    /// A planner for a glass of `columns` (at most 128) by at most 8 pages.
    pub fn new(columns: u32) -> Self {
        let columns = columns.min(128) as usize;
        Self {
            columns,
            pointer: None,
            masks: vec![0; columns],
            all_masks: vec![0; columns],
            dirty: Vec::with_capacity(columns),
            group: Band::default(),
            extents: Vec::with_capacity(columns),
            origins: Vec::with_capacity(columns),
            bands: Vec::with_capacity(BANDS),
            last_bands: [0; 2],
            runs: Vec::with_capacity(columns),
            runs_after: Vec::with_capacity(columns),
            runs_in_band: Vec::with_capacity(columns),
            path: Vec::with_capacity(columns),
        }
    }

    /// The pointers are no longer known.
    pub fn forget(&mut self) {
        self.pointer = None;
    }

    #[cfg(test)]
    pub(super) fn set_left(&mut self, left: Option<[u8; 6]>) {
        self.pointer = left.map(|[first_column, last_column, first, last, column, page]| Pointer {
            first_column,
            last_column,
            band: Band { first, last },
            column,
            page,
        });
    }

    /// See [`Planner::plan`](super::Planner::plan).
    pub fn plan(&mut self, old: Option<&[u8]>, new: &[u8], script: &mut Script) {
        script.clear();
        self.masks.fill(0);
        let (masks, mut changed) = (&mut self.masks, 0);
        differences(self.columns, old, new, |page, column| {
            masks[column] |= 1 << page;
            changed += 1;
        });
        if changed == 0 {
            return;
        }
        let mut best = FAR;
        if let Some((bytes, after)) = self.run_from_pointer() {
            self.all_masks.copy_from_slice(&self.masks);
            self.clear_window();
            let rest = self.choose_runs(Some(after), FAR);
            // A single byte followed by commands is a byte cheaper.
            best = GO_ON + bytes + rest - u32::from(bytes == 1 && rest > 0);
            std::mem::swap(&mut self.runs, &mut self.runs_after);
            self.masks.copy_from_slice(&self.all_masks);
            // The other plans begin with a command, which mostly settles it.
            if best <= MOVE_COLUMN + changed || self.choose_runs(self.pointer, best) >= best {
                self.write_from_pointer(bytes, new, script);
                std::mem::swap(&mut self.runs, &mut self.runs_after);
            }
        } else {
            self.choose_runs(self.pointer, best);
        }
        self.write_runs(new, script);
    }

    /// How many bytes from the pointer on, round the end of the window if need be, reach the last changed one in the window,
    /// and where that leaves the pointer.
    fn run_from_pointer(&self) -> Option<(u32, Pointer)> {
        let pointer = self.pointer?;
        let (band, first, last) = (pointer.band, pointer.first_column, pointer.last_column);
        let origin = band.place(first, band.first);
        let area = band.place(last, band.last) - origin + 1;
        let start = band.place(pointer.column, pointer.page) - origin;
        let mut bytes = 0;
        for column in first..=last {
            let mask = self.masks[usize::from(column)] & band.mask();
            for page in (band.first..=band.last).filter(|page| mask >> page & 1 == 1) {
                let place = band.place(column, page) - origin;
                bytes = bytes.max((place + area - start) % area + 1);
            }
        }
        let place = (start + bytes) % area + origin;
        let (column, page) = ((place / band.height()) as u8, band.first + (place % band.height()) as u8);
        (bytes > 0).then_some((bytes, Pointer { column, page, ..pointer }))
    }

    /// Takes what changed within the window as sent.
    fn clear_window(&mut self) {
        if let Some(Pointer { first_column, last_column, band, .. }) = self.pointer {
            for mask in &mut self.masks[usize::from(first_column)..=usize::from(last_column)] {
                *mask &= !band.mask();
            }
        }
    }

    /// The least cost of plans that begin with a command, the pointer standing at `pointer`; the runs are left in `runs`.
    /// Costs of `bound` and more need not be exact.
    fn choose_runs(&mut self, pointer: Option<Pointer>, bound: u32) -> u32 {
        self.runs.clear();
        self.dirty.clear();
        let changed = self.masks.iter().enumerate().filter(|(_, mask)| **mask != 0);
        self.dirty.extend(changed.map(|(column, mask)| (column as u8, *mask)));
        let rows = self.dirty.iter().fold(0, |rows, (_, mask)| rows | mask);
        if rows == 0 {
            return 0;
        }
        let hull = Band::hull(rows);
        let least = MOVE_BOTH + self.dirty.iter().map(|(_, mask)| mask.count_ones()).sum::<u32>();
        let in_band = pointer.filter(|pointer| pointer.band.contains(hull)).map_or(FAR, |pointer| {
            self.collect(hull);
            self.solve_and_trace(Entry::OnInBand(pointer.band, pointer.page), Single::Either, FAR)
        });
        if in_band.min(bound) <= least {
            return in_band;
        }
        std::mem::swap(&mut self.runs, &mut self.runs_in_band);
        let afresh = self.plan_afresh(rows, hull, least, in_band.min(bound));
        if afresh >= in_band {
            std::mem::swap(&mut self.runs, &mut self.runs_in_band);
        }
        afresh.min(in_band)
    }

    /// The least cost with both windows set at the beginning, its runs being left in `runs`; `least` is a cost that no such
    /// plan stays below. Costs of `bound` and more need not be exact.
    fn plan_afresh(&mut self, rows: u8, hull: Band, least: u32, bound: u32) -> u32 {
        self.runs.clear();
        self.collect(hull);
        let one_sweep = self.solve_and_trace(Entry::OneSweep(hull), Single::Either, FAR);
        // A second sweep costs at least a step that sets both windows, less the byte that a run of one byte before it saves.
        if one_sweep.min(bound) < least + MOVE_BOTH {
            return one_sweep;
        }
        let bound = one_sweep.min(bound);
        // costs[page][single]: the least for what changed above that page; needed[page]: what changed from there on takes no less.
        let mut costs = [[FAR; 2]; PAGES + 1];
        let mut cuts = [[Cut::default(); 2]; PAGES + 1];
        let mut needed = [0; PAGES + 1];
        for page in (0..PAGES).rev() {
            let changed = self.dirty.iter().map(|(_, mask)| u32::from(mask >> page & 1)).sum::<u32>();
            // A group more costs at least its windows, less the byte saved.
            let begun = if needed[page + 1] == 0 && changed > 0 { MOVE_BOTH - 1 } else { 0 };
            needed[page] = needed[page + 1] + begun + changed;
        }
        costs[usize::from(hull.first)][0] = 0;
        for last in hull.first..=hull.last {
            let below = usize::from(last) + 1;
            if rows >> last & 1 == 0 {
                costs[below] = costs[below - 1];
                cuts[below] = [Cut { group: None, single: false }, Cut { group: None, single: true }];
                continue;
            }
            for first in (hull.first..=last).filter(|first| rows >> first & 1 == 1) {
                let above = costs[usize::from(first)];
                // A single byte followed by commands is a byte cheaper.
                let single = above[1] < FAR && above[1] - 1 < above[0];
                let before = if single { above[1] - 1 } else { above[0] };
                let Some(bound) = bound.checked_sub(before + needed[below]) else { continue };
                self.collect(Band { first, last });
                let group = self.solve::<false>(Entry::Afresh, bound);
                for end in 0..2 {
                    if before + group[end] < costs[below][end] {
                        costs[below][end] = before + group[end];
                        cuts[below][end] = Cut { group: Some(first), single };
                    }
                }
            }
        }
        let costs = costs[usize::from(hull.last) + 1];
        let cost = costs[0].min(costs[1]);
        if cost >= bound {
            return one_sweep;
        }
        // Groups come out from the bottom up.
        let (mut page, mut end) = (usize::from(hull.last) + 1, usize::from(costs[1] < costs[0]));
        let mut groups = [None; PAGES];
        while page > usize::from(hull.first) {
            let cut = cuts[page][end];
            page = match cut.group {
                Some(first) => {
                    let single = if end == 1 { Single::Yes } else { Single::No };
                    groups[usize::from(first)] = Some((Band { first, last: page as u8 - 1 }, single));
                    usize::from(first)
                }
                None => page - 1,
            };
            end = usize::from(cut.single);
        }
        self.runs.clear();
        for (group, single) in groups.into_iter().flatten() {
            self.collect(group);
            self.solve_and_trace(Entry::Afresh, single, FAR);
        }
        cost
    }

    /// Gathers the changed columns of a group of pages in `extents`.
    fn collect(&mut self, group: Band) {
        let rows = group.mask();
        self.extents.clear();
        let mut later = 0;
        for &(column, mask) in self.dirty.iter().rev().filter(|(_, mask)| mask & rows != 0) {
            let pages = Band::hull(mask & rows);
            self.extents.push(Extent { column, pages, later });
            later += pages.height();
        }
        self.extents.reverse();
        self.group = group;
    }

    /// Solves the group in `extents`, appends the runs of the cheapest plan whose last run is as asked, and returns its cost.
    fn solve_and_trace(&mut self, entry: Entry, single: Single, bound: u32) -> u32 {
        let costs = self.solve::<true>(entry, bound);
        let single = match single {
            Single::Either => costs[1] < costs[0],
            Single::Yes => true,
            Single::No => false,
        };
        let cost = costs[usize::from(single)];
        if cost < FAR {
            self.trace(entry, single);
        }
        cost
    }

    /// The least costs of the group in `extents`, its last run being longer than one byte or not. Plans of `bound` and more are
    /// given up. With `TRACE` the ways are left in `origins`.
    fn solve<const TRACE: bool>(&mut self, entry: Entry, bound: u32) -> [u32; 2] {
        self.bands.clear();
        match entry {
            Entry::OneSweep(band) | Entry::OnInBand(band, _) => self.bands.push(band),
            Entry::Afresh => {
                for first in self.group.first..=self.group.last {
                    self.bands.extend((first..=self.group.last).map(|last| Band { first, last }));
                }
            }
        }
        self.origins.clear();
        let mut costs = [[FAR; 2]; BANDS];
        let costs = &mut costs[..self.bands.len()];
        let mut before: Option<Extent> = None;
        for &extent in &self.extents {
            let own = extent.pages.height();
            // A plan is worth going on with only below this.
            let bound = bound.saturating_sub(extent.later + own);
            // The cheapest state from which a new sweep can begin, a single byte before being a byte cheaper.
            let mut sweep = (FAR, Origin { way: Way::First, single: false });
            if before.is_none() {
                sweep.0 = 0;
            } else if entry == Entry::Afresh {
                for (index, [longer, single]) in costs.iter().enumerate() {
                    if *longer < sweep.0 {
                        sweep = (*longer, Origin { way: Way::Sweep(index as u8), single: false });
                    }
                    if *single <= sweep.0 && *single < FAR {
                        sweep = (*single - 1, Origin { way: Way::Sweep(index as u8), single: true });
                    }
                }
            }
            if TRACE {
                let untold = [Origin { way: Way::First, single: false }; 2];
                self.origins.extend(std::iter::repeat_n(untold, self.bands.len()));
            }
            let traced = self.origins.len().saturating_sub(self.bands.len());
            for (index, (costs, &band)) in costs.iter_mut().zip(&self.bands).enumerate() {
                let mut next = [FAR; 2];
                if band.contains(extent.pages) {
                    let mut offer = |cost: u32, single: bool, origin: Origin| {
                        let slot = usize::from(single);
                        if cost < bound && cost + own < next[slot] {
                            next[slot] = cost + own;
                            if TRACE {
                                self.origins[traced + index][slot] = origin;
                            }
                        }
                    };
                    if sweep.0 < FAR {
                        let begun = match entry {
                            Entry::OneSweep(_) | Entry::Afresh => {
                                Some((MOVE_BOTH, u32::from(extent.pages.first - band.first)))
                            }
                            Entry::OnInBand(_, page) => {
                                let place = band.place(extent.column, extent.pages.first);
                                band.lead(page, place).map(|lead| (MOVE_COLUMN, lead))
                            }
                        };
                        if let Some((step, lead)) = begun {
                            offer(sweep.0 + step + lead, lead == 0 && own == 1, sweep.1);
                        }
                    }
                    if let (Some(before), true) = (before, costs[0].min(costs[1]) < FAR) {
                        let height = band.height();
                        let clean = u32::from(extent.column - before.column) * height + u32::from(extent.pages.first)
                            - u32::from(before.pages.last)
                            - 1;
                        // What is left of the clean bytes when all whole columns are skipped.
                        let rest = u32::from(extent.pages.first) + height - u32::from(before.pages.last) - 1;
                        let rest = if rest >= height { rest - height } else { rest };
                        for single in [false, true] {
                            let cost = costs[usize::from(single)];
                            if cost >= FAR {
                                continue;
                            }
                            offer(cost + clean, false, Origin { way: Way::Through, single });
                            if clean >= height {
                                // The rest ends the run before, unless that is worth keeping to one byte.
                                let alone = own == 1 && (rest == 0 || !single);
                                let step = MOVE_COLUMN - u32::from(single) + rest;
                                offer(cost + step, alone, Origin { way: Way::Skip, single });
                            }
                        }
                    }
                }
                *costs = next;
            }
            before = Some(extent);
        }
        [0, 1].map(|end| {
            let ends = costs.iter().map(|costs| costs[end]).enumerate();
            let (band, cost) = ends.min_by_key(|(_, cost)| *cost).unwrap_or((0, FAR));
            self.last_bands[end] = band;
            cost
        })
    }

    /// Appends the runs of the plan just solved, whose last run is a single byte or not, to `runs`.
    fn trace(&mut self, entry: Entry, single: bool) {
        self.path.clear();
        let mut slot = usize::from(single);
        let mut index = self.last_bands[slot];
        for origins in self.origins.rchunks(self.bands.len()) {
            let origin = origins[index][slot];
            self.path.push((self.bands[index], origin));
            slot = usize::from(origin.single);
            if let Way::Sweep(before) = origin.way {
                index = usize::from(before);
            }
        }
        for (extent, (band, origin)) in self.extents.iter().zip(self.path.iter().rev()) {
            let (band, start) = (*band, band.place(extent.column, extent.pages.first));
            let end = band.place(extent.column, extent.pages.last);
            match (origin.way, self.runs.last_mut()) {
                (Way::Through, Some(run)) => run.end = end,
                (Way::Skip, Some(run)) => {
                    let clean = start - run.end - 1;
                    let rest = clean % band.height();
                    if !origin.single {
                        run.end += rest;
                    }
                    let start = run.end + 1 + (clean - rest);
                    self.runs.push(Run { band, sets_pages: false, start, end });
                }
                _ => {
                    let (sets_pages, lead) = match entry {
                        Entry::OneSweep(_) | Entry::Afresh => (true, Some(start % band.height())),
                        Entry::OnInBand(_, page) => (false, band.lead(page, start)),
                    };
                    self.runs.push(Run { band, sets_pages, start: start - lead.unwrap_or(0), end });
                }
            }
        }
    }

    /// Sends `bytes` bytes from the pointer on.
    fn write_from_pointer(&mut self, bytes: u32, new: &[u8], script: &mut Script) {
        if let Some(pointer) = &mut self.pointer {
            for _ in 0..bytes {
                script.data(new[usize::from(pointer.page) * self.columns + usize::from(pointer.column)]);
                pointer.advance();
            }
        }
    }

    /// Sends the runs. A window ends where its run ends, so that the pointer goes back to where it began if the band is full
    /// there: the next update of the same bytes then needs no command.
    fn write_runs(&mut self, new: &[u8], script: &mut Script) {
        for run in &self.runs {
            let height = run.band.height();
            let (first_column, last_column) = ((run.start / height) as u8, (run.end / height) as u8);
            let page = run.band.first + (run.start % height) as u8;
            script.command(Command::ColumnWindow { first: first_column, last: last_column });
            if run.sets_pages {
                script.command(Command::PageWindow { first: run.band.first, last: run.band.last });
            }
            debug_assert!(
                run.sets_pages || self.pointer.is_some_and(|left| left.band == run.band && left.page == page)
            );
            let mut pointer = Pointer { first_column, last_column, band: run.band, column: first_column, page };
            for _ in run.start..=run.end {
                script.data(new[usize::from(pointer.page) * self.columns + usize::from(pointer.column)]);
                pointer.advance();
            }
            self.pointer = Some(pointer);
        }
    }
}
