"""Setting the pack: from measured plates and first pulls to the shim that lands in the window.

parts         what a sheet, a card and a shelf hold, as values
cup_springs   load of a cup spring (EN 16984) and of what is nested or opposed
arrangement   what a reading in one bench arrangement says of another
stack         faces, mean radius, heights, room: a build as numbers
line          springs and plates in one line: interference to load
priors        every number the inference starts from, each with its reason
unit          a sheet and a card together
unknowns      what a sheet leaves open, as draws
loads         loads and torque of any build, in every draw
context       what builds of a unit have in common
inference     what the history says of friction, springs and interference
buildable     shims that the stock allows
end_play      end play of a unit whose shims set it
shim_choice   every choice, its torque and its probabilities
parts_choice  what other plates and springs would do
limits        what is fitted now and lies out of the card's limits
problem       what is not believed of a sheet, or with a word
plausible     entries that cannot be right; plausible_space: depths and heights
diagnosis     hints from curve and sheet together
answer        all of it for one sheet
told          a sentence with figures that can be said in another language
shop          what the shop's own jobs told, to start from
"""
