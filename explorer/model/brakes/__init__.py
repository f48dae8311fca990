"""What takes the speed off again."""
