//! What a reader must know before relying on a result. The workbook, the mail and the README
//! say it in these words.

/// The cautions, in reading order.
pub static CAUTIONS: &[&str] = &[
    "A calculation replaces no test: before a pallet runs, and after every change to it, check the holding pressure \
     and the clamp force on the pallet itself.",
    "The result is as good as the lists and the component table. A line that could not be read is set aside, and what \
     depends on it is not assessed; a circuit that is not assessed has not passed.",
    "Losses at the joints, friction of the seals and the age of the oil are not calculated. Leak rates are those of \
     the component table, with oil at the lowest temperature; warm oil leaks faster.",
    "Heating and cooling are taken as slow and even; a pallet that is colder on one side than on the other is not \
     covered.",
    "Trapped oil is dangerous: release the pressure by the isolation valve before any part is loosened; an accumulator \
     keeps the pressure up until its oil is let out too.",
];
