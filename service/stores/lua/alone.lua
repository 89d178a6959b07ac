-- Who does something that one at a time does. KEYS[1]: what all keys begin with. ARGV: what it is,
-- who asks, and for how many milliseconds from now; 0 lets go of it. Returns 1 for whoever has it.

local key = KEYS[1] .. 'alone:' .. ARGV[1]
local holder, lasting = ARGV[2], tonumber(ARGV[3])
local other = redis.call('GET', key)
if other and other ~= holder then
    return 0
end
if lasting > 0 then
    redis.call('SET', key, holder, 'PX', lasting)
    return 1
end
redis.call('DEL', key)
return 0
