//! The judge, rule by rule.

#[cfg(test)]
mod ends;
#[cfg(test)]
mod rules;
#[cfg(test)]
mod springs;
