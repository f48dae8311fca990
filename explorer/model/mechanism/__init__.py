"""The moving wing: elements, hinge moments, linkage, servo, slots, strength."""
