//! Inputs that once went wrong, each as small as it could be made.
