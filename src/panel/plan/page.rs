//! The planner for page addressing (SH1106): runs of bytes, served in reading order.
//!
//! What enters and leaves is said one floor up. Between two changed bytes there is a choice: write the clean bytes between
//! them, or set the pointers anew; a run of a single byte makes the next step one byte cheaper. Two costs a changed byte,
//! for "the run so far is one byte" and "it is longer", are all that the future depends on, so the least is exact.

use super::{FAR, differences};
use crate::panel::{Command, Script};

/// Bytes for moving on: end of a run, commands, beginning of the next run.
const MOVE_PAGE: u32 = 2 + 1 - 1 + 2;
const MOVE_COLUMN: u32 = 2 + 2 + 2;
const MOVE_BOTH: u32 = 2 + 3 + 2;
/// A run that goes on from the pointer.
const GO_ON: u32 = 2;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Cell {
    page: u8,
    column: u8,
}

/// How a changed byte was reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    /// The run before goes on.
    Through,
    /// By commands that set what differs; with the page alone the pointer keeps its column, and clean bytes may follow.
    Move(Commands),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Commands {
    Page,
    Column,
    Both,
}

#[derive(Clone, Copy, Debug)]
struct Origin {
    way: Way,
    /// Whether the run before was a single byte.
    single: bool,
}

/// Plans updates of a controller with page addressing; see the [module](super).
#[derive(Debug)]
pub struct Pages {
    columns: usize,
    offset: u32,
    /// Where the next byte goes; past the last column only the page is relied on.
    pointer: Option<Cell>,
    changed: Vec<Cell>,
    origins: Vec<[Origin; 2]>,
    ways: Vec<Origin>,
}

impl Pages {
    /// A planner for a glass of `columns` by `pages` that begins at the RAM's column `offset`.
    pub fn new(columns: u32, pages: u32, offset: u32) -> Self {
        let cells = (columns * pages) as usize;
        Self {
            columns: columns as usize,
            offset,
            pointer: None,
            changed: Vec::with_capacity(cells),
            origins: Vec::with_capacity(cells),
            ways: Vec::with_capacity(cells),
        }
    }

    /// The pointers are no longer known.
    pub fn forget(&mut self) {
        self.pointer = None;
    }

    #[cfg(test)]
    pub(super) fn set_left(&mut self, left: Option<(u8, u8)>) {
        self.pointer = left.map(|(page, column)| Cell { page, column });
    }

    /// See [`Planner::plan`](super::Planner::plan).
    pub fn plan(&mut self, old: Option<&[u8]>, new: &[u8], script: &mut Script) {
        script.clear();
        self.changed.clear();
        let changed = &mut self.changed;
        differences(self.columns, old, new, |page, column| {
            changed.push(Cell { page: page as u8, column: column as u8 });
        });
        if self.changed.is_empty() {
            return;
        }
        let from_top = self.choose();
        // From the pointer on, and then from the top.
        let place = |cell: Cell| (cell.page, cell.column);
        let ahead =
            self.pointer.map_or(0, |pointer| self.changed.partition_point(|cell| place(*cell) < place(pointer)));
        if ahead > 0 && ahead < self.changed.len() {
            self.changed.rotate_left(ahead);
            if self.choose() >= from_top {
                self.changed.rotate_right(ahead);
                self.choose();
            }
        }
        self.write(new, script);
    }

    /// Finds the cheapest way to each changed byte, leaves it in `ways`, first to last, and tells the cost of all.
    fn choose(&mut self) -> u32 {
        self.origins.clear();
        let mut costs = [FAR; 2];
        let mut before: Option<Cell> = None;
        for &cell in &self.changed {
            let mut next = [FAR; 2];
            let mut origins = [Origin { way: Way::Through, single: false }; 2];
            let mut offer = |cost: u32, single: bool, origin: Origin| {
                let slot = usize::from(single);
                if cost < next[slot] {
                    (next[slot], origins[slot]) = (cost, origin);
                }
            };
            // Where the pointer stands, at which cost, and whether the run before is a single byte.
            let starts = match before {
                None => [(0, false), (FAR, true)],
                Some(_) => [(costs[0], false), (costs[1], true)],
            };
            let pointer = before.map(|cell| Cell { column: cell.column + 1, ..cell }).or(self.pointer);
            for (cost, single) in starts.into_iter().filter(|(cost, _)| *cost < FAR) {
                let saved = u32::from(single);
                let mut reach = |way, bytes, alone| offer(cost + bytes + 1, alone, Origin { way, single });
                reach(Way::Move(Commands::Both), MOVE_BOTH - saved, true);
                let Some(pointer) = pointer else { continue };
                let clean = cell.column.checked_sub(pointer.column).map(u32::from);
                if pointer.page == cell.page {
                    reach(Way::Move(Commands::Column), MOVE_COLUMN - saved, true);
                    if let Some(clean) = clean {
                        // The first run has no run before that could go on: it has to be begun.
                        let begin = if before.is_none() { GO_ON } else { 0 };
                        reach(Way::Through, begin + clean, before.is_none() && clean == 0);
                    }
                } else if let Some(clean) = clean {
                    // Clean bytes end the run before unless that is a single byte, which is worth keeping.
                    let alone = clean == 0 || (before.is_some() && !single);
                    reach(Way::Move(Commands::Page), MOVE_PAGE - saved + clean, alone);
                }
            }
            self.origins.push(origins);
            costs = next;
            before = Some(cell);
        }
        let mut single = costs[1] < costs[0];
        self.ways.clear();
        for origins in self.origins.iter().rev() {
            let origin = origins[usize::from(single)];
            self.ways.push(origin);
            single = origin.single;
        }
        self.ways.reverse();
        costs[0].min(costs[1])
    }

    fn write(&mut self, new: &[u8], script: &mut Script) {
        let columns = self.columns;
        let byte = |cell: Cell| new[usize::from(cell.page) * columns + usize::from(cell.column)];
        let mut pointer = self.pointer.unwrap_or(Cell { page: 0, column: 0 });
        for (index, (&cell, origin)) in self.changed.iter().zip(&self.ways).enumerate() {
            let write_up_to = |pointer: &mut Cell, column: u8, script: &mut Script| {
                while pointer.column < column {
                    script.data(byte(*pointer));
                    pointer.column += 1;
                }
            };
            if let Way::Move(commands) = origin.way {
                if commands == Commands::Page && index > 0 && !origin.single {
                    write_up_to(&mut pointer, cell.column, script);
                }
                if matches!(commands, Commands::Page | Commands::Both) {
                    script.command(Command::Page(cell.page));
                    pointer.page = cell.page;
                }
                if matches!(commands, Commands::Column | Commands::Both) {
                    let column = u32::from(cell.column) + self.offset;
                    script.command(Command::ColumnLow(column as u8 & 0x0f));
                    script.command(Command::ColumnHigh((column >> 4) as u8));
                    pointer.column = cell.column;
                }
            }
            write_up_to(&mut pointer, cell.column + 1, script);
        }
        self.pointer = Some(pointer);
    }
}
