"""What rules mean, whatever they are called and however they are written down."""
